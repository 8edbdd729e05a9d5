"""How thick a solid is behind each place of its surface."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .measures import triangle_areas, triangle_normals
from .mesh import Mesh
from .rays import RayCaster


@dataclass(frozen=True, eq=False)
class Thickness:
    """Walls found under a sample of the surface.

    Parameters
    ----------
    triangle : (n,) int32 array, the triangle each wall lies under; it stands for `area` of the surface
    place, far_side : (n, 3) arrays, both ends of the way through the wall, millimetres
    thickness : (n,) float64 array, millimetres; infinite where nothing faces the place across the solid
    area : (n,) float64 array, square millimetres
    """

    triangle: NDArray[np.int32]
    place: NDArray[np.float64]
    far_side: NDArray[np.float64]
    thickness: NDArray[np.float64]
    area: NDArray[np.float64]

    def share_below(self, limit: float) -> float:
        """The share of the surface with less than `limit` mm under it, from 0 to 1."""
        return float(self.area[self.thickness < limit].sum() / max(self.area.sum(), 1e-300))

    def only(self, chosen: NDArray[np.bool_]) -> "Thickness":
        """The chosen walls alone."""
        return Thickness(
            self.triangle[chosen], self.place[chosen], self.far_side[chosen], self.thickness[chosen], self.area[chosen]
        )


def wall_thickness(
    mesh: Mesh,
    farthest: float = np.inf,
    samples: int = 200_000,
    steepest: float = 60.0,
    caster: RayCaster | None = None,
) -> Thickness:
    """Thickness by a ray from the middle of each triangle straight into the solid.

    Parameters
    ----------
    mesh : a closed mesh
    farthest : millimetres, more than which is not told apart
    samples : triangles looked at, the largest areas evenly if there are more
    steepest : degrees between the ray and the far side's normal up to which the two sides make a wall; beyond it the
        ray came out of the flank of an edge, where thickness tapers to nothing by itself
    caster : of this mesh, where there is one already

    Notes
    -----
    On a plate, a wedge's bisector aside, and between concentric spheres the ray is the wall's own thickness.
    """
    areas, normals = triangle_areas(mesh), triangle_normals(mesh)
    rows = _evenly(areas, samples)
    weight = areas.sum() / len(rows) if len(rows) < int((areas > 0).sum()) else areas[rows]
    places = mesh.corners[rows].mean(axis=1)
    caster = caster or RayCaster(mesh)
    distance, hit = caster.first_hit(places, -normals[rows], ignoring=rows, farthest=farthest, leaving=True)
    opposite = np.einsum("ij,ij->i", -normals[rows], normals[np.maximum(hit, 0)]) >= np.cos(np.radians(steepest))
    wall = (hit >= 0) & opposite
    far = np.where(wall[:, None], places - np.where(wall, distance, 0.0)[:, None] * normals[rows], places)
    return Thickness(rows, places, far, np.where(wall, distance, np.inf), np.broadcast_to(weight, len(rows)))


def _evenly(areas: NDArray[np.float64], samples: int) -> NDArray[np.int32]:
    """Triangles with area: all of them, or `samples` of them spread evenly over the surface."""
    some = np.flatnonzero(areas > 0)
    if len(some) <= samples:
        return some.astype(np.int32)
    grown = np.cumsum(areas[some])
    marks = (np.arange(samples) + 0.5) * (grown[-1] / samples)
    chosen: NDArray[np.int32] = some[np.searchsorted(grown, marks)].astype(np.int32)
    return chosen
