"""The form the base head is laid on: the demo sculpture's mean head, alike on both sides, bald and without brows.

Points go in and come out in the posed frame (left, back, up), millimetres.
"""

from functools import cache

import numpy as np
from canthus.geometry.clouds.normals import vertex_normals
from canthus.geometry.distances.closest import ClosestPoint
from canthus.geometry.mesh import Mesh
from demo_head import ears, eyes, sampling, sculpture, skull, truth
from demo_head.eyes import EyeForm
from demo_head.shapes import Points, ellipsoid, turned, union
from numpy.typing import NDArray
from scipy.spatial import cKDTree

EYE = EyeForm()
FLIP = np.array([1.0, -1.0, 1.0])
"""Between the posed frame and the sculptor's (across, forward, up)."""


def without_ears(points: Points) -> NDArray[np.float32]:
    """The mean head with its eyes, nostrils filled to a dent: what a scan shows of them. The sculptor's frame."""
    form = sculpture.bare_head(points)
    side = points.copy()
    side[:, 0] = np.abs(side[:, 0])
    near = np.flatnonzero(np.linalg.norm(side - np.array([7.2, 105.4, -29.6], np.float32), axis=1) < 14)
    if len(near):
        plug = ellipsoid(side[near], (7.2, 104.9, -27.6), (2.7, 5.8, 5.0), turned("up", 27) @ turned("across", 8))
        form = form.copy()
        form[near] = union(form[near], plug, 2.0)
    return eyes.set_in(form, points, EYE)


def whole(points: Points) -> NDArray[np.float32]:
    """The same with both ears. The sculptor's frame."""
    return ears.set_on(without_ears(points), points)


def landmarks() -> dict[str, NDArray[np.float64]]:
    """The standard landmarks of the form."""
    marks = truth.sculpted_landmarks(whole, EYE)
    tops = [truth.first_skin(whole, np.array([0.0, f, 60.0]), np.array([0.0, 0.0, 1.0]), 90.0) for f in range(-40, 11)]
    marks["vertex"] = max(tops, key=lambda place: place[2])
    return {name: place * FLIP for name, place in marks.items()}


class Skin:
    """The form as fine triangles, to be put back on."""

    def __init__(self, mesh: Mesh) -> None:
        self._closest, self._tree = ClosestPoint(mesh), cKDTree(mesh.vertices)
        self._vertices, self._normals = mesh.vertices, vertex_normals(mesh)

    def exactly(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 3) the nearest place on the form."""
        return self._closest.query(points)[2]

    def nearly(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """The same by the tangent plane of the nearest vertex, a few hundredths off, in a tenth of the time."""
        row = self._tree.query(points)[1]
        over = np.einsum("ij,ij->i", points - self._vertices[row], self._normals[row])
        return points - over[:, None] * self._normals[row]


@cache
def skin() -> Skin:
    """The form without ears, once."""
    x, f, z = EYE.centre
    axes = [
        sampling.axis(-98, 98, 1.3, [(-x - 15, -x + 18), (x - 18, x + 15)], 0.5),
        sampling.axis(-106, 126, 1.3, [(f + 2, f + 16)], 0.5),
        sampling.axis(skull.NECK_END - 12, 140, 1.3, [(z - 12, z + 14)], 0.5),
    ]
    values = sampling.sampled(without_ears, axes)
    vertices, triangles = sampling.surface(values, axes)
    return Skin(Mesh(sampling.settled(without_ears, vertices, triangles, 0.3) * FLIP, triangles[:, ::-1]))


def along(starts: NDArray[np.float64], ways: NDArray[np.float64], reach: float) -> NDArray[np.float64]:
    """(n, 3) the outermost skin on each line: coming in from `reach` along a unit way out of `starts`.

    Raises
    ------
    ValueError
        A line that meets no skin.
    """
    distances = np.arange(reach, 0, -0.25)
    lines = (starts[:, None] + distances[None, :, None] * ways[:, None]) * FLIP
    inside = sampling.in_pieces(without_ears, lines.reshape(-1, 3).astype(np.float32)).reshape(len(starts), -1) < 0
    first = inside.argmax(axis=1)
    if (first == 0).any():
        raise ValueError(f"{int((first == 0).sum())} lines meet no skin: {starts[first == 0][:3].tolist()}")
    rows = np.arange(len(starts))
    far, near = lines[rows, first - 1], lines[rows, first]
    for _ in range(14):
        middle = (far + near) / 2
        within = (sampling.in_pieces(without_ears, middle.astype(np.float32)) < 0)[:, None]
        far, near = np.where(within, far, middle), np.where(within, middle, near)
    return (far + near) / 2 * FLIP
