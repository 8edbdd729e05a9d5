"""How thick a solid is behind each place of its surface."""

import dataclasses
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..distances.rays import RayCaster
from ..distances.sampling import places_over
from ..measures import area, triangle_normals
from ..mesh import Mesh


@dataclass(frozen=True, eq=False)
class Thickness:
    """Walls found under places spread evenly over the surface.

    Parameters
    ----------
    triangle : (n,) int32 array, the triangle each place lies on
    place, far_side : (n, 3) arrays, both ends of the way through the wall, millimetres
    normal : (n, 3) array, of the surface at the place
    thickness : (n,) float64 array, millimetres; infinite where nothing faces the place across the solid
    spacing : millimetres; each place stands for its square
    """

    triangle: NDArray[np.int32]
    place: NDArray[np.float64]
    far_side: NDArray[np.float64]
    normal: NDArray[np.float64]
    thickness: NDArray[np.float64]
    spacing: float

    def share_below(self, limit: float) -> float:
        """The share of the surface with less than `limit` mm under it, from 0 to 1."""
        return float((self.thickness < limit).mean()) if len(self.thickness) else 0.0

    def only(self, chosen: NDArray[np.bool_] | NDArray[np.int64]) -> "Thickness":
        """The chosen places alone, by a mask or by their rows."""
        rows = {name: column[chosen] for name, column in vars(self).items() if name != "spacing"}
        return dataclasses.replace(self, **rows)

    def as_walls(self, limit: float) -> "Thickness":
        """Places under `limit` mm taken for what they are part of: a thin wall, or the sharp edge of a thick one.

        Notes
        -----
        A solid is thin right at every sharp edge, yet an edge prints, blunt by a pixel. So a place counts as thin as
        nine in ten of the places about it that look the same way, as far off as the limit. A plate keeps its
        thickness, a wedge of 50 degrees and more is no thin wall, one of 30 degrees is said to be half the limit.
        Where hardly any other place looks the same way there is no wall but the roughness of a scan, a bump as small
        as a triangle, whose flanks a ray runs between: nothing is told there.
        """
        thin = np.flatnonzero(self.thickness < limit)
        thickness = self.thickness.copy()
        if not len(thin):
            return self
        tree, reach = cKDTree(self.place), max(limit, _FARTHEST_ALIKE * self.spacing)
        for some in np.array_split(thin, len(thin) // 10_000 + 1):
            _, near = tree.query(self.place[some], k=_MOST_NEAR, distance_upper_bound=reach)
            found = near < len(thickness)
            near = np.minimum(near, len(thickness) - 1)
            alike = found & (np.einsum("nki,ni->nk", self.normal[near], self.normal[some]) > 0.5)
            about = np.sort(np.where(alike, self.thickness[near], np.inf), axis=1)  # the place itself is among them
            count = alike.sum(axis=1)
            rank = np.ceil(0.9 * (count - 1)).astype(np.int64)
            told = np.where(count >= _FEWEST_ALIKE, about[np.arange(len(some)), rank], np.inf)
            thickness[some] = np.maximum(thickness[some], told)
        return dataclasses.replace(self, thickness=thickness)


_FEWEST_ALIKE = 4
"""Places of a wall at least, that itself counted: as many as fall on a square of twice their spacing."""
_FARTHEST_ALIKE = 2.5
"""Spacings that are looked over at least: on a plate some twenty places lie within them."""
_MOST_NEAR = 128
"""Places looked at about a thin one: more than lie on both sides of a wall when they are a quarter of it apart."""


def wall_thickness(
    mesh: Mesh,
    spacing: float = 0.0,
    farthest: float = np.inf,
    most: int = 200_000,
    steepest: float = 60.0,
    caster: RayCaster | None = None,
) -> Thickness:
    """Thickness by a ray from places spread over the surface straight into the solid.

    Parameters
    ----------
    mesh : a closed mesh
    spacing : of the places, millimetres; as many as `most` allows where it is 0
    farthest : millimetres, more than which is not told apart
    most : places looked at, however small the spacing
    steepest : degrees between the ray and the far side's normal up to which the two sides make a wall; beyond it the
        ray came out of the flank of an edge, where thickness tapers to nothing by itself
    caster : of this mesh, where there is one already

    Notes
    -----
    On a plate, a wedge's bisector aside, and between concentric spheres the ray is the wall's own thickness. Spread by
    area, the places leave out slivers, whose normals mean nothing.
    """
    count = most if spacing <= 0 else int(np.clip(area(mesh) / spacing**2, 1, most))
    chosen, shares = places_over(mesh, count)
    rows: NDArray[np.int32] = chosen.astype(np.int32)
    normals = triangle_normals(mesh)
    corners = mesh.vertices.take(mesh.triangles.take(rows, axis=0), axis=0)
    places = np.einsum("nc,nci->ni", shares, corners)
    own = normals.take(rows, axis=0)
    caster = caster or RayCaster(mesh)
    distance, hit = caster.first_hit(places, -own, ignoring=rows, farthest=farthest, leaving=True)
    across = np.einsum("ij,ij->i", -own, normals.take(np.maximum(hit, 0), axis=0))
    wall = (hit >= 0) & (across >= np.cos(np.radians(steepest)))
    far = places - np.where(wall, distance, 0.0)[:, None] * own
    return Thickness(rows, places, far, own, np.where(wall, distance, np.inf), float(np.sqrt(area(mesh) / count)))
