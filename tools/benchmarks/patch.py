"""Rows of patch: holes cut into the demo head and filled again."""

import dataclasses
from collections.abc import Iterator
from typing import Any

import numpy as np
from canthus.geometry.distances.closest import ClosestPoint
from canthus.geometry.distances.sampling import spread_over
from canthus.geometry.measures import triangle_areas, triangle_normals
from canthus.geometry.mending.patching import holes, patched
from canthus.geometry.mesh import Mesh
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from .bench import Bench
from .rows import Row, Timed, library, measured, root_mean_square, row, timed

HOLES = (
    (0, -1, 0.5, 40),
    (0.7, -1, -0.2, 25),
    (-0.7, -1, -0.3, 20),
    (0, -0.7, -0.9, 10),
    (0.3, 0.2, 1, 32),
    (-1, 0, 0.8, 15),
)
"""Way from the head's middle and width across, millimetres: forehead, cheeks, chin, crown, temple."""


@measured("patch", sizes=(0,))
def patch(bench: Bench, _: int) -> Iterator[Row]:
    """Six holes cut into the demo head, filled, beside a flat and a refined filling; the size is triangles."""
    opened = with_holes(bench.head)
    ours = timed(lambda: patched(opened, [hole for hole in holes(opened)[0] if hole.width < 60]))
    truth = ClosestPoint(bench.head)
    own = patch_error(truth, opened, ours.result)
    for reference, theirs, bar in (
        ("flat filling (open3d)", flat_filling(opened), None),
        ("refined filling (pymeshfix)", refined_filling(opened), 1.0),
    ):
        found = None if theirs is None else patch_error(truth, opened, theirs.result)
        line = row("patch six holes", len(opened.triangles), ours, reference, theirs, bar)
        line = dataclasses.replace(line, operation=f"patch six holes, beside {reference}")
        line = line.quality("patch RMS mm", own, found, bar=0.5)
        yield line.quality("angle at the rim °", rim_angle(opened, ours.result), bar=5.0, absolute=True)


def with_holes(head: Mesh) -> Mesh:
    """The head without the triangles that lie within each hole's half width of the place the way leads to."""
    middle = head.vertices.mean(axis=0)
    centres, gone = head.corners.mean(axis=1), np.zeros(len(head.triangles), bool)
    for x, y, z, width in HOLES:
        way = np.array([x, y, z]) / np.linalg.norm([x, y, z])
        offset = centres - middle
        along = offset @ way
        aside = np.linalg.norm(offset - along[:, None] * way, axis=1)
        place = centres[np.argmax(np.where(aside < 3, along, -np.inf))]
        gone |= np.linalg.norm(centres - place, axis=1) < width / 2
    return head.kept(~gone)


def flat_filling(opened: Mesh) -> Timed[Mesh] | None:
    """open3d's hole filling, None where it is not installed."""
    open3d: Any = library("open3d")
    if open3d is None:
        return None
    given = open3d.t.geometry.TriangleMesh(
        open3d.core.Tensor(opened.vertices.astype(np.float32)), open3d.core.Tensor(opened.triangles.astype(np.int64))
    )
    done = timed(lambda: given.fill_holes(60.0))
    triangles = done.result.triangle.indices.numpy()
    return Timed(Mesh(done.result.vertex.positions.numpy().astype(np.float64), triangles), done.seconds)


def refined_filling(opened: Mesh) -> Timed[Mesh] | None:
    """Pymeshfix's hole filling with its own loading of the mesh, None where it is not installed."""
    pymeshfix: Any = library("pymeshfix")
    if pymeshfix is None:
        return None

    def filled() -> Any:
        given = pymeshfix.PyTMesh()
        given.set_quiet(True)
        given.load_array(opened.vertices, opened.triangles)
        given.fill_small_boundaries(0, True)
        return given.return_arrays()

    done = timed(filled)
    vertices, triangles = done.result
    return Timed(Mesh(np.asarray(vertices, np.float64), np.asarray(triangles, np.int32)), done.seconds)


def patch_error(truth: ClosestPoint, opened: Mesh, filled: Mesh) -> float:
    """RMS from the head to places spread over what was filled in, millimetres."""
    new = Mesh(filled.vertices, filled.triangles[_added(opened, filled)])
    return root_mean_square(truth.query(spread_over(new, 0.4).points)[0])


def _added(opened: Mesh, filled: Mesh) -> NDArray[np.bool_]:
    """Triangles of the filled mesh whose middles are none of the opened one's."""
    gap, _ = cKDTree(opened.corners.mean(axis=1)).query(filled.corners.mean(axis=1), workers=-1)
    added: NDArray[np.bool_] = gap > 1e-4
    return added


def rim_angle(opened: Mesh, filled: Mesh) -> float:
    """Mean angle between the patch and the skin on either side of the rim, degrees, each over two millimetres of it."""
    added = _added(opened, filled)
    normals, middles = triangle_normals(filled), filled.corners.mean(axis=1)
    areas = triangle_areas(filled)[:, None]
    rims = np.intersect1d(filled.triangles[added], filled.triangles[~added])
    sides = []
    for mine in (added, ~added):
        tree = cKDTree(middles[mine])
        near = tree.query(filled.vertices[rims], 12, distance_upper_bound=2.0, workers=-1)[1]
        weighted = np.concatenate([(normals * areas)[mine], np.zeros((1, 3))])[near].sum(axis=1)
        sides.append(weighted / np.maximum(np.linalg.norm(weighted, axis=1, keepdims=True), 1e-12))
    cosines = np.einsum("ij,ij->i", *sides).clip(-1, 1)
    return float(np.degrees(np.arccos(cosines)).mean())
