"""Parts of the demo head that cleaning is judged by: the face, eyes and ears, lid margins, the folds of the lids."""

import numpy as np
from canthus.geometry.cloud import Cloud
from canthus.geometry.clouds.normals import vertex_normals
from canthus.geometry.distances.closest import ClosestPoint
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from .bench import Bench


def face(cloud: Cloud) -> NDArray[np.float64]:
    """(m, 3) the points of the front of a posed head."""
    return cloud.points[cloud.points[:, 1] < -30.0]


def round_eyes(bench: Bench, points: NDArray[np.float64], reach_mm: float) -> NDArray[np.bool_]:
    """(n,) which points are within reach of a globe's centre."""
    apart = [np.linalg.norm(points - eye.centre, axis=1) for eye in bench.truth.eyes.values()]
    return np.min(apart, axis=0) < reach_mm


def round_ears(bench: Bench, points: NDArray[np.float64]) -> NDArray[np.bool_]:
    """(n,) which points are of an ear, as good as: 35 mm round a place behind each tragion."""
    marks = [bench.truth.landmarks[f"tragion-{side}"] for side in ("left", "right")]
    ears = [mark + np.array([np.sign(mark[0]) * 5, 12, 5]) for mark in marks]
    return np.min([np.linalg.norm(points - ear, axis=1) for ear in ears], axis=0) < 35.0


def outer_margins(bench: Bench) -> NDArray[np.float64]:
    """(m, 3) the outer edge of all four lid margins, half a lid's thickness over the globe and laid onto the skin."""
    places = []
    for eye in bench.truth.eyes.values():
        for margin in (eye.upper_margin[8:-8], eye.lower_margin[8:-8]):
            out = margin - eye.centre
            places.append(margin + out / np.linalg.norm(out, axis=1, keepdims=True) * eye.lid_thickness / 2)
    on_skin: NDArray[np.float64] = ClosestPoint(bench.head).query(np.concatenate(places))[2]
    return on_skin


class Creases:
    """The folds of both upper lids of the head, and how much of their depth a cloud keeps.

    The tenth of the skin over an upper lid that lies deepest under its mean over 3.5 mm is the fold; the higher part
    of what lies 2 to 5 mm from it are its shoulders (ours, no source).
    """

    def __init__(self, bench: Bench) -> None:
        places, normals = bench.head.vertices, vertex_normals(bench.head)
        tree = cKDTree(places)
        self._truth, self._mesh, self._normals = ClosestPoint(bench.head), bench.head, normals
        self._eyes = bench
        self._fold, self._shoulder = np.zeros((2, len(places)), bool)
        height = np.zeros(len(places))
        for eye in bench.truth.eyes.values():
            near = np.flatnonzero(np.linalg.norm(places - eye.centre, axis=1) < 26.0)
            low, high = eye.upper_margin[:, 2].max() + 1.5, eye.centre[2] + 16.0
            at = places[near]
            near = near[(at[:, 1] < eye.centre[1] - 2) & (at[:, 2] > low) & (at[:, 2] < high)]
            for each in near:
                around = places[tree.query_ball_point(places[each], 3.5)].mean(axis=0)
                height[each] = (places[each] - around) @ normals[each]
            fold = near[height[near] < np.quantile(height[near], 0.1)]
            apart = cKDTree(places[fold]).query(places[near])[0]
            beside = near[(apart > 2) & (apart < 5)]
            self._fold[fold] = True
            self._shoulder[beside[height[beside] > np.quantile(height[beside], 0.6)]] = True
        self.depth = float(height[self._shoulder].mean() - height[self._fold].mean())

    def kept(self, points: NDArray[np.float64]) -> float:
        """Depth of the folds in a cloud over their true depth."""
        near = points[round_eyes(self._eyes, points, 28.0)]
        away, triangle, closest = self._truth.query(near)
        corners = self._mesh.triangles[triangle]
        over = np.sign(np.einsum("ij,ij->i", near - closest, self._normals[corners].mean(axis=1))) * away
        over_fold = over[self._fold[corners].all(axis=1) & (away < 2)]
        over_shoulder = over[self._shoulder[corners].all(axis=1) & (away < 2)]
        return 1 - float(over_fold.mean() - over_shoulder.mean()) / self.depth
