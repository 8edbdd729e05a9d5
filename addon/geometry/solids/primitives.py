"""Closed solids of known size: what bores, pockets, pegs and tests are made of.

Curved faces are inscribed: their vertices lie on the true surface, and no facet lies deeper under it than `sag`.
"""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ..directions import unit
from ..errors import NotPossible
from ..mesh import Mesh
from .rings import turned_rings

SAG = 0.002
"""Deviation allowed from the true surface unless told otherwise, mm: a twentieth of a printer's pixel."""


def sphere(radius: float, centre: ArrayLike = (0.0, 0.0, 0.0), sag: float = SAG) -> Mesh:
    """A ball of even triangles.

    Parameters
    ----------
    radius, sag : millimetres
    centre : (3,) array, millimetres

    Notes
    -----
    An icosahedron's faces divided into n² parts each and laid on the sphere. The largest triangle lies in the
    middle of a face: its edge is 1.3231 R / n, hence its sag about 0.2918 R / n².
    """
    _positive(radius=radius, sag=sag)
    divisions = max(2, int(np.ceil(np.sqrt(0.2918 * radius / sag))))
    ball = _divided_icosahedron(divisions)
    return Mesh(ball.vertices * radius + np.asarray(centre, dtype=np.float64), ball.triangles)


def icosphere(level: int, radius: float = 1.0) -> Mesh:
    """The icosahedron split in four `level` times, every new vertex laid on the sphere at once."""
    vertices, triangles = _icosahedron()
    for _ in range(level):
        edges = triangles[:, [[0, 1], [1, 2], [2, 0]]]
        low, high = edges.min(axis=2).astype(np.int64), edges.max(axis=2)
        keys, middle = np.unique(low * len(vertices) + high, return_inverse=True)
        a, b, c = triangles.T
        ab, bc, ca = middle.reshape(-1, 3).T + len(vertices)
        added = vertices[keys // len(vertices)] + vertices[keys % len(vertices)]
        vertices = np.concatenate([vertices, unit(added)])
        triangles = np.stack([[a, ab, ca], [ab, b, bc], [ca, bc, c], [ab, bc, ca]]).transpose(2, 0, 1).reshape(-1, 3)
        triangles = triangles.astype(np.int32)
    return Mesh(vertices * radius, triangles)


def _icosahedron() -> tuple[NDArray[np.float64], NDArray[np.int32]]:
    golden = (1 + 5**0.5) / 2
    corners = [(-1, golden, 0), (1, golden, 0), (-1, -golden, 0), (1, -golden, 0)]
    vertices = np.array(
        [np.roll(corner, shift) for shift in (0, 1, 2) for corner in np.asarray(corners, dtype=np.float64)]
    )
    vertices /= np.linalg.norm(vertices[0])
    # A face is three corners that are mutually an edge apart; the edge is the least distance there is.
    apart = np.linalg.norm(vertices[:, None] - vertices[None], axis=2)
    joined = apart < 1.1
    faces = [
        (i, j, k)
        for i in range(12)
        for j in range(i + 1, 12)
        for k in range(j + 1, 12)
        if joined[i, j] and joined[j, k] and joined[i, k]
    ]
    outward = [
        (i, j, k) if np.linalg.det(vertices[[i, j, k]]) > 0 else (i, k, j)  # counter-clockwise from outside
        for i, j, k in faces
    ]
    return vertices, np.array(outward, dtype=np.int32)


def _divided_icosahedron(divisions: int) -> Mesh:
    vertices, faces = _icosahedron()
    steps = np.array([(i, j) for i in range(divisions + 1) for j in range(divisions + 1 - i)])
    weights = np.column_stack([divisions - steps.sum(axis=1), steps]) / divisions
    points = np.einsum("kc,fcd->fkd", weights, vertices[faces]).reshape(-1, 3)
    number = np.full((divisions + 2, divisions + 2), -1)
    number[steps[:, 0], steps[:, 1]] = np.arange(len(steps))
    i, j = steps[steps.sum(axis=1) < divisions].T
    up = np.column_stack([number[i, j], number[i + 1, j], number[i, j + 1]])
    i, j = steps[steps.sum(axis=1) < divisions - 1].T
    down = np.column_stack([number[i + 1, j], number[i + 1, j + 1], number[i, j + 1]])
    one_face = np.concatenate([up, down])
    triangles = (one_face[None] + (np.arange(len(faces)) * len(steps))[:, None, None]).reshape(-1, 3)
    # Points on shared edges come out equal to rounding: far closer than any two different ones.
    rounded = np.round(points * 1e9).astype(np.int64)
    _, first, welded = np.unique(rounded, axis=0, return_index=True, return_inverse=True)
    return Mesh(unit(points[first]), welded.ravel()[triangles].astype(np.int32))


def cylinder(start: ArrayLike, end: ArrayLike, radius: float, sag: float = SAG) -> Mesh:
    """A round bar from `start` to `end`, (3,) points in millimetres."""
    return frustum(start, end, radius, radius, sag)


def frustum(start: ArrayLike, end: ArrayLike, radius_start: float, radius_end: float, sag: float = SAG) -> Mesh:
    """A round bar that tapers from one radius to the other; a radius of 0 makes a cone's tip."""
    length = float(np.linalg.norm(np.asarray(end, dtype=np.float64) - np.asarray(start, dtype=np.float64)))
    return revolved([(radius_start, 0.0), (radius_end, length)], start, _direction(start, end), sag)


def capsule(start: ArrayLike, end: ArrayLike, radius: float, sag: float = SAG) -> Mesh:
    """A round bar with a half ball on either end; `start` and `end` are the balls' centres."""
    _positive(radius=radius, sag=sag)
    length = float(np.linalg.norm(np.asarray(end, dtype=np.float64) - np.asarray(start, dtype=np.float64)))
    angles = np.linspace(0, np.pi / 2, max(3, _segments(radius, sag) // 4 + 1))
    bottom = np.column_stack([radius * np.sin(angles), -radius * np.cos(angles)])
    top = np.column_stack([radius * np.cos(angles), length + radius * np.sin(angles)])
    bottom[0, 0] = top[-1, 0] = 0.0
    profile = np.concatenate([bottom, top if length > 0 else top[1:]])
    return revolved(profile, start, _direction(start, end) if length > 0 else (0.0, 0.0, 1.0), sag)


def box(low: ArrayLike, high: ArrayLike) -> Mesh:
    """The block between two opposite corners, (3,) points in millimetres, `low` below `high` in every axis."""
    low, high = np.asarray(low, dtype=np.float64), np.asarray(high, dtype=np.float64)
    if not (low < high).all():
        raise NotPossible(f"a box needs low under high in x, y and z, not {low.tolist()} and {high.tolist()}")
    corners = np.array([(x, y, z) for z in (0, 1) for y in (0, 1) for x in (0, 1)])
    quads = [(0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5)]
    triangles = [(a, b, c) for a, b, c, _ in quads] + [(a, c, d) for a, _, c, d in quads]
    return Mesh(low + corners * (high - low), np.array(triangles, dtype=np.int32))


def prism(outline: ArrayLike, low: float, high: float, holes: Sequence[ArrayLike] = ()) -> Mesh:
    """The straight solid over a flat outline.

    Parameters
    ----------
    outline : (k, 2) array, millimetres, a simple polygon in x and y; either way round
    low, high : heights along z, millimetres
    holes : (k, 2) polygons within it that stay open
    """
    from manifold3d import CrossSection, FillRule, triangulate

    if not low < high:
        raise NotPossible(f"a prism needs low under high, not {low:g} and {high:g}")
    rings = [np.asarray(ring, dtype=np.float64).reshape(-1, 2) for ring in (outline, *holes)]
    rings = [ring if (_signed_area(ring) > 0) == (number == 0) else ring[::-1] for number, ring in enumerate(rings)]
    if abs(_signed_area(rings[0])) == 0 or CrossSection(rings, FillRule.Positive).is_empty():
        raise NotPossible("a prism's outline encloses nothing: give at least three points that are not in line")
    flat = np.asarray(triangulate(rings), dtype=np.int64)
    points = np.concatenate(rings)
    count = len(points)
    starts = np.cumsum([0, *map(len, rings)])
    here = np.arange(count)
    ahead = np.concatenate([np.roll(np.arange(a, b), -1) for a, b in pairwise(starts)])
    walls = [np.column_stack([here, ahead, ahead + count]), np.column_stack([here, ahead + count, here + count])]
    vertices = np.column_stack([np.tile(points, (2, 1)), np.repeat([low, high], count)])
    return Mesh(vertices, np.concatenate([flat[:, ::-1], flat + count, *walls]).astype(np.int32))


def revolved(
    profile: ArrayLike, start: ArrayLike = (0.0, 0.0, 0.0), direction: ArrayLike = (0.0, 0.0, 1.0), sag: float = SAG
) -> Mesh:
    """The solid a profile sweeps about an axis.

    Parameters
    ----------
    profile : (k, 2) array of (radius, height) in millimetres, heights along the axis from `start`; the side the
        solid lies on is the axis's. An end that is not on the axis is closed with a flat disc.
    start, direction : (3,) a point of the axis and its direction
    sag : millimetres, across the axis only; the profile is taken as it is

    Raises
    ------
    NotPossible
        A negative radius, or a profile that touches the axis between its ends.
    """
    outline = np.asarray(profile, dtype=np.float64).reshape(-1, 2)
    if outline[0, 0] > 0:
        outline = np.vstack([[0.0, outline[0, 1]], outline])
    if outline[-1, 0] > 0:
        outline = np.vstack([outline, [0.0, outline[-1, 1]]])
    rims = outline[1:-1]
    if (outline[:, 0] < 0).any() or (rims[:, 0] <= 0).any() or not len(rims):
        raise NotPossible("a profile to revolve needs radii above 0 between its ends and none below 0")
    _positive(sag=sag)
    around = _segments(float(rims[:, 0].max()), sag)
    along, across, beside = _frame(direction)
    angles = 2 * np.pi * np.arange(around) / around
    ring = np.cos(angles)[:, None] * across + np.sin(angles)[:, None] * beside
    rings = rims[:, None, :1] * ring + rims[:, None, 1:] * along
    tips = outline[[0, -1], 1:] * along
    vertices = np.asarray(start, dtype=np.float64) + np.concatenate([rings.reshape(-1, 3), tips])
    mesh = Mesh(vertices, turned_rings(len(rims), around))
    turned = float(np.einsum("ij,ij->", *_profile_turn(outline)))
    return mesh if turned > 0 else Mesh(mesh.vertices, mesh.triangles[:, ::-1])


def _profile_turn(outline: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    ahead = np.roll(outline, -1, axis=0)
    return outline, np.column_stack([ahead[:, 1], -ahead[:, 0]])


def _segments(radius: float, sag: float) -> int:
    """Facets round a circle so that none lies deeper than `sag`: a multiple of four, at least twelve."""
    needed = np.pi / np.arccos(1 - min(sag / radius, 0.5))
    return max(12, int(np.ceil(needed / 4)) * 4)


def _frame(direction: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    along = np.asarray(direction, dtype=np.float64)
    length = float(np.linalg.norm(along))
    if length == 0:
        raise NotPossible("a direction of length 0: give two different points, or a vector")
    along = along / length
    helper = np.zeros(3)
    helper[int(np.argmin(np.abs(along)))] = 1.0
    across = np.cross(helper, along)
    across /= np.linalg.norm(across)
    return along, across, np.cross(along, across)


def _direction(start: ArrayLike, end: ArrayLike) -> NDArray[np.float64]:
    return np.asarray(end, dtype=np.float64) - np.asarray(start, dtype=np.float64)


def _signed_area(ring: NDArray[np.float64]) -> float:
    ahead = np.roll(ring, -1, axis=0)
    return float((ring[:, 0] * ahead[:, 1] - ring[:, 1] * ahead[:, 0]).sum() / 2)


def _positive(**lengths: float) -> None:
    for name, value in lengths.items():
        if not value > 0:
            raise NotPossible(f"{name} must be above 0 mm, not {value:g}")
