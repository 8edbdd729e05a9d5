"""The hair: a hairline, a mass over the scalp, and combed locks laid over each other as a carver lays them."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.ndimage import gaussian_filter, gaussian_filter1d, map_coordinates
from scipy.spatial import cKDTree

from .shapes import Field, Points, bump, step

# The lowest hair at each bearing around the head (0 front, 180 back), mm up; the dip near 75 is the sideburn.
_LINE = [
    (0, 89), (12, 90), (24, 90), (33, 87), (41, 78), (47, 66), (53, 56), (59, 44), (64, 26), (67.5, 5), (70, -9),
    (78, -11), (82, -6), (85, 14), (89, 30), (96, 35), (106, 32), (113, 20), (119, -5), (126, -30), (135, -46),
    (150, -53), (180, -55),
]  # fmt: skip
PART = 21.0
"""Where the hair is parted, across."""
SCALP_CENTRE, SCALP_RADII = np.array([0.0, -10.0, 42.0]), np.array([75.0, 91.0, 88.0])
"""An ellipsoid near the scalp, on which the hair is combed before it is laid on the head."""
POLE = np.array([0.0, -0.42, 0.907])
"""The map of the scalp is unrolled around this direction, the crown."""
MAP_STEP, MAP_REACH, MAP_SCALE = 0.5, 216.0, 85.0


def hairline(points: Points) -> NDArray[np.float64]:
    """Roughly how far (mm) each place lies inside the hairline."""
    bearing = np.degrees(np.abs(np.arctan2(points[:, 0], points[:, 1])))
    places, levels, steepness = _line_table()
    level = np.interp(bearing, places, levels)
    radius = np.hypot(points[:, 0], points[:, 1])
    slope = np.interp(bearing, places, steepness) * 57.3 / np.maximum(radius, 30)
    return (points[:, 2] - level) / np.sqrt(1 + slope**2)


@cache
def _line_table() -> tuple[NDArray, NDArray, NDArray]:
    places = np.linspace(0, 180, 721)
    levels = gaussian_filter1d(PchipInterpolator(*np.array(_LINE, float).T)(places), 5, mode="nearest")
    return places, levels, np.gradient(levels, places)


def thickness(points: Points) -> NDArray[np.float64]:
    """How far (mm) the mass of hair stands off the scalp well inside the hairline."""
    across, forward, up = points.T
    top = step(up, 55, 108)
    crest = bump(across + 4, 34) * bump(forward - 58, 26) * step(up, 80, 98)
    side = 3.2 + 1.0 * step(up, -10, 40)
    nape = step(up, -55, 20) * step(forward, 0, -40)
    return side * (1 - 0.45 * (1 - nape) * step(forward, -20, -50)) + 5.0 * top + 4.5 * crest


def _combed(places: NDArray) -> NDArray[np.float64]:
    """The direction hair is combed at places on the scalp's ellipsoid, unit and tangent to it."""
    across, forward, up = places.T
    outward = np.tanh((across - PART * step(forward, -75, -20)) / 7.0)
    top = step(up, 78, 112)[:, None]
    back = step(forward, -38, -78)[:, None]
    over = np.stack([0.80 * outward, -0.62 + 0 * across, -0.35 * np.abs(outward)], 1)
    fringe = bump(forward - 72, 14)[:, None] * np.stack([0.25 * outward, -0.55 + 0 * across, 0.55 + 0 * across], 1)
    aside = np.stack([0.0 * across, -0.72 + 0 * across, -0.70 + 0 * across], 1)
    behind = np.stack([0.16 * np.tanh(across / 20), -0.15 + 0 * across, -1.0 + 0 * across], 1)
    way = (over + fringe) * top + aside * (1 - top)
    way = way * (1 - back) + behind * back
    wave = 0.22 * np.sin(forward / 9.0 + across / 13.0 + up / 17.0)
    normal = _normals(places)
    way = way + wave[:, None] * np.cross(normal, way)
    way -= normal * np.sum(way * normal, axis=1, keepdims=True)
    return way / np.linalg.norm(way, axis=1, keepdims=True)


def _on_scalp(places: NDArray) -> NDArray[np.float64]:
    away = places - SCALP_CENTRE
    return SCALP_CENTRE + away / np.linalg.norm(away / SCALP_RADII, axis=1, keepdims=True)


@dataclass(frozen=True, eq=False)
class Locks:
    """Samples along all locks: place, way, number of the lock; half width and height, and their change with the way."""

    places: NDArray[np.float64]
    ways: NDArray[np.float64]
    lock: NDArray[np.int64]
    width: NDArray[np.float64]
    height: NDArray[np.float64]
    widening: NDArray[np.float64]
    rising: NDArray[np.float64]


def _roots(rng: np.random.Generator, count: int = 6000) -> NDArray[np.float64]:
    """Where locks begin: evenly over the hairy scalp, closer together at the sides."""
    roots = _on_scalp(SCALP_CENTRE + rng.standard_normal((count, 3)))
    roots = roots[hairline(roots) > -3.0]
    tree = cKDTree(roots)
    free, kept = np.ones(len(roots), bool), []
    for row, place in enumerate(roots):
        if free[row]:
            kept.append(row)
            free[tree.query_ball_point(place, 5.2 if place[2] > 70 else 3.6)] = False
    return roots[kept]


def _normals(places: NDArray) -> NDArray[np.float64]:
    """Outward unit normals of the scalp's ellipsoid."""
    normal = (places - SCALP_CENTRE) / SCALP_RADII**2
    return normal / np.linalg.norm(normal, axis=1, keepdims=True)


def _combed_locks(pace: float = 2.0) -> Locks:
    """Every lock followed along the comb from its root, tapered at both ends."""
    rng = np.random.default_rng(20)
    roots = _roots(rng)
    count = len(roots)
    top = step(roots[:, 2], 60, 105)
    length = (17 + 30 * top) * rng.uniform(0.75, 1.3, count)
    width = (2.4 + 2.2 * top) * rng.uniform(0.75, 1.35, count)
    height = (1.0 + 1.7 * top) * rng.uniform(0.6, 1.3, count)
    lean = rng.normal(0, 0.16, count)
    places, ways, rows, along, here = [], [], [], [], roots.copy()
    for gone in np.arange(0, length.max(), pace):
        alive = np.flatnonzero(gone < length)
        way = _combed(here[alive])
        way = way + (lean[alive] * np.cos(gone / 11.0))[:, None] * np.cross(_normals(here[alive]), way)
        way /= np.linalg.norm(way, axis=1, keepdims=True)
        places.append(here[alive].copy())
        ways.append(way)
        rows.append(alive)
        along.append(gone / length[alive])
        here[alive] = _on_scalp(here[alive] + pace * way)
    row, share = np.concatenate(rows), np.concatenate(along)

    def shaped(share: NDArray) -> tuple[NDArray, NDArray]:
        taper = step(share, -0.15, 0.25) * np.sqrt(np.clip(1.04 - share, 0, 1))
        rise = (0.35 + 0.65 * step(share, 0.0, 0.65)) * step(share, 1.06, 0.80)
        return width[row] * np.maximum(taper, 0.12), height[row] * rise

    ahead, behind = shaped(share + 0.5 * pace / length[row]), shaped(share - 0.5 * pace / length[row])
    changes = [(a - b) / pace for a, b in zip(ahead, behind, strict=True)]
    return Locks(np.concatenate(places), np.concatenate(ways), row, *shaped(share), *changes)


@cache
def _relief_map() -> NDArray[np.float32]:
    """Relief of the locks (mm) over the unrolled scalp."""
    ticks = np.arange(-MAP_REACH, MAP_REACH + MAP_STEP, MAP_STEP)
    u, v = np.meshgrid(ticks, ticks, indexing="ij")
    angle, turn = np.hypot(u, v).ravel() / MAP_SCALE, np.arctan2(v, u).ravel()
    first, second = _map_axes()
    inward = np.flatnonzero(angle < 2.5)
    a, t = angle[inward, None], turn[inward, None]
    places = _on_scalp(SCALP_CENTRE + np.cos(a) * POLE + np.sin(a) * (np.cos(t) * first + np.sin(t) * second))
    near = hairline(places) > -14
    inward, places = inward[near], places[near]
    locks = _combed_locks()
    relief = np.zeros(len(angle), np.float32)
    for chunk in np.array_split(np.arange(len(places)), max(1, len(places) // 60_000)):
        relief[inward[chunk]] = _laid(places[chunk], locks)
    return gaussian_filter(relief.reshape(u.shape), 0.8)


def _laid(places: NDArray, locks: Locks, candidates: int = 28, pace: float = 2.0) -> NDArray[np.float32]:
    """Height of the topmost lock at each place."""
    _, rows = cKDTree(locks.places).query(places, candidates, workers=2)
    offset = (places[:, None, :] - locks.places[rows]).astype(np.float32)
    way = locks.ways[rows].astype(np.float32)
    along = np.einsum("nck,nck->nc", offset, way)
    across = np.cross(way, _normals(places).astype(np.float32)[:, None, :])
    aside = np.einsum("nck,nck->nc", across, offset)
    share = aside / np.maximum(locks.width[rows] + along * locks.widening[rows], 0.2)
    strands = 0.11 * np.sin(aside * 3.2 + locks.lock[rows] * 1.7) + 0.05 * np.sin(aside * 4.9 + locks.lock[rows] * 2.9)
    dome = np.sqrt(np.clip(1 - share**2, 0, 1)) * step(np.abs(along), 0.75 * pace, 0.55 * pace)
    height = np.maximum(locks.height[rows] + along * locks.rising[rows], 0)
    return (height * dome * (1 + strands)).max(axis=1).astype(np.float32)


@cache
def _map_axes() -> tuple[NDArray, NDArray]:
    first = np.cross(POLE, [1.0, 0.0, 0.0])
    first /= np.linalg.norm(first)
    return first, np.cross(POLE, first)


def relief(points: Points) -> NDArray[np.float32]:
    """Relief of the combed locks (mm) under or over each point."""
    away = (points - SCALP_CENTRE).astype(np.float32)
    away /= np.maximum(np.linalg.norm(away, axis=1, keepdims=True), 1e-6)
    first, second = _map_axes()
    angle = np.arccos(np.clip(away @ POLE, -1, 1))
    turn = np.arctan2(away @ second, away @ first)
    at = np.stack([angle * np.cos(turn), angle * np.sin(turn)]) * MAP_SCALE
    return map_coordinates(_relief_map(), (at + MAP_REACH) / MAP_STEP, order=1, mode="constant")


def grown_on(skin: Field, points: Points, scalp: Callable[[Points], Field]) -> Field:
    """`skin` with the hair on it: the `scalp` swollen outwards from its middle by the hair's mass and relief."""
    inside = hairline(points)
    near = np.flatnonzero((inside > -3) & (skin < 30))
    if not len(near):
        return skin
    skin, place, depth = skin.copy(), points[near], inside[near]
    # Thin and soft where it grows out of the forehead, denser along the sides.
    wispy = step(place[:, 1], 20, 60)
    rise = step(depth, -1.0, 9.0 + 7.0 * wispy)
    edge = step(depth, -2.5, 3.0 + 2.0 * wispy)
    height = thickness(place) * rise + relief(place) * edge * (0.45 + 0.55 * rise)
    outwards = place - SCALP_CENTRE
    outwards /= np.maximum(np.linalg.norm(outwards, axis=1, keepdims=True), 1e-9)  # the middle itself has no way out
    skin[near] = np.minimum(skin[near], scalp((place - height[:, None] * outwards).astype(np.float32)))
    return skin
