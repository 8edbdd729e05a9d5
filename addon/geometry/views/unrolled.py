"""A part of the surface unrolled from an upright cylinder, so that what bends round a head can be drawn flat."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage
from scipy.spatial import cKDTree

from ..angles import arc_tangent
from ..errors import NotPossible
from ..mesh import Mesh
from .depth_map import DepthMap, depth_map


@dataclass(frozen=True, eq=False)
class Unrolled:
    """A surface seen from all round an upright axis, millimetres.

    `axis` is (x, y) of the axis, `radius` that of the cylinder on which lengths across are true, `outward` a depth map
    over (across, up): distance from the axis, by angle from -y towards +x times the radius, and by z.
    """

    axis: tuple[float, float]
    radius: float
    outward: DepthMap

    def flat(self, places: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 2) across and up of (n, 3) places."""
        return flattened(places, self.axis, self.radius)[:, :2]

    def places(self, flat: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 3) places on the surface over (n, 2) across and up; NaN where none was seen."""
        return self._out(flat, self.outward.at(flat[:, 0], flat[:, 1]))

    def _out(self, flat: NDArray[np.float64], far: NDArray[np.float64]) -> NDArray[np.float64]:
        turn = flat[:, 0] / self.radius
        return np.stack([self.axis[0] + far * np.sin(turn), self.axis[1] - far * np.cos(turn), flat[:, 1]], axis=1)

    def painted(self, mesh: Mesh, values: NDArray[np.float64]) -> NDArray[np.float64]:
        """(rows, columns) the values of the mesh's (n,) vertices, each pixel that of its nearest vertex; NaN unseen."""
        across, up = np.meshgrid(self.outward.across, self.outward.up)
        seen = self.outward.seen
        places = self._out(np.stack([across[seen], up[seen]], axis=1), self.outward.depths[seen])
        picture = np.full(seen.shape, np.nan)
        picture[seen] = values[cKDTree(mesh.vertices).query(places, workers=-1)[1]]
        return picture

    def normals(self, flat: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 3) unit vectors out of the surface over (n, 2) across and up; NaN where none was seen."""
        step = np.array([self.outward.pixel, 0.0])
        across = self.places(flat + step) - self.places(flat - step)
        up = self.places(flat + step[::-1]) - self.places(flat - step[::-1])
        out = np.cross(across, up)
        unit: NDArray[np.float64] = out / np.linalg.norm(out, axis=1, keepdims=True)
        return unit

    def smoothed(self, spread: float) -> "Unrolled":
        """The same with the distances smoothed by a bell of that standard deviation, millimetres."""
        return replace(self, outward=replace(self.outward, depths=_blurred(self.outward, spread)))


def unrolled(
    mesh: Mesh,
    axis: tuple[float, float],
    radius: float,
    low: tuple[float, float],
    high: tuple[float, float],
    pixel: float,
) -> Unrolled:
    """The outermost surface over a rectangle of the unrolled cylinder.

    Parameters
    ----------
    mesh : a head, posed
    axis, radius : of the cylinder
    low, high : corners of the rectangle: across and up; |across| under three times the radius
    pixel : millimetres

    Raises
    ------
    NotPossible
        Nothing of the mesh lies there.
    """
    flat = flattened(mesh.vertices, axis, radius)
    inside = (flat[:, :2] > np.array(low) - 5 * pixel - 5).all(axis=1)
    inside &= (flat[:, :2] < np.array(high) + 5 * pixel + 5).all(axis=1)
    near = mesh.triangles[inside[mesh.triangles].all(axis=1)]
    if not len(near):
        raise NotPossible("nothing of the head lies where the face is looked for: pose it first")
    return Unrolled(axis, radius, depth_map(flat, near, low, high, pixel))


def flattened(places: NDArray[np.float64], axis: tuple[float, float], radius: float) -> NDArray[np.float64]:
    """(n, 3) across, up and distance from an upright axis through (x, y) `axis`, of (n, 3) places."""
    across, back = places[:, 0] - axis[0], places[:, 1] - axis[1]
    return np.stack([radius * arc_tangent(across, -back), places[:, 2], np.hypot(across, back)], axis=1)


def _blurred(depth: DepthMap, spread: float) -> NDArray[np.float64]:
    """The depths smoothed over what was seen; NaN where nothing was."""
    return blurred(depth.depths, spread / depth.pixel)


def blurred(picture: NDArray[np.float64], spread: float) -> NDArray[np.float64]:
    """A picture with NaN gaps smoothed by a bell of `spread` pixels; what was not seen stays NaN and weighs nothing."""
    seen = np.isfinite(picture)
    weight = ndimage.gaussian_filter(seen.astype(np.float64), spread, mode="nearest")
    total = ndimage.gaussian_filter(np.where(seen, picture, 0.0), spread, mode="nearest")
    return np.where(seen, total / np.maximum(weight, 1e-9), np.nan)
