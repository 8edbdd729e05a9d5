"""Thin things that stand off a skin, told from the skin itself: lashes, as a scanner blurs them."""

import numpy as np
from numpy.typing import NDArray

from ..clouds.normals import normals_through
from ..clouds.orientation import along_a_tree
from ..linked import linked_pieces
from ..neighbours import BY_THE_EIGHTH, Arranged, arranged
from ..surfacing.implicit import SphereFit
from .running_on import runs_on


def bristles(points: NDArray[np.float64], outside: NDArray[np.float64], clearance: float = 0.35) -> NDArray[np.bool_]:
    """Which points stand off the skin that most of them form.

    Parameters
    ----------
    points : (n, 3) float array, millimetres: one region, some centimetres across
    outside : (3,) a place before the skin: what stands off towards it is looked for
    clearance : height over the skin that is let pass, millimetres: the noise, and the skin's own roughness

    Notes
    -----
    Skin is what hangs together through neighbours that lie flat to each other, and about as thin as most of the region
    is (hairs that a scanner blurs make a thicker sheet), and what it runs on through; a surface of spheres is fitted
    through that alone (`implicit`), and every point is judged by its height over it. So a point at the foot of a lash,
    within the clearance, stays: the lid's margin is not eaten. The method is ours.
    """
    stands = np.zeros(len(points), bool)
    held = arranged(points)
    if len(held.points) < 60:
        return stands
    distances, rows = held.nearest(_AROUND)
    normals, _ = normals_through(held.points, np.column_stack([np.arange(len(rows)), rows]))
    thick = _thickness(held.points, normals, rows)
    distances, rows = distances[:, :8], rows[:, :8]
    spacing = float(np.median(distances[:, -1])) * BY_THE_EIGHTH
    skin = np.flatnonzero(_followed(held.points, _skin(held, normals, thick, rows, spacing), spacing))
    if len(skin) < 30:
        return stands
    own = arranged(held.points[skin])
    facing = along_a_tree(own.points, normals[skin[own.rows]], own.nearest(8)[1])
    if np.einsum("ij,ij->", outside - own.points, facing) < 0:
        facing = -facing
    near = SphereFit(own, facing, np.ones(len(own.points)), count=20).near(held.points)
    flat = np.zeros(len(held.points), bool)
    flat[skin] = True
    off = (near.distance > clearance) & (~flat | (near.distance > 2 * clearance))
    off |= ~flat & (near.gap > max(2.5 * spacing, 3 * clearance))
    low = off & (near.distance < _LOW * clearance)
    for _ in range(_ROUNDS):
        doubtful = np.flatnonzero(low & off)
        back = doubtful[runs_on(held.points[~off], held.points[doubtful], 2.2 * spacing, clearance)]
        off[back] = False
        if not len(back):
            break
    return off[held.back]


_AROUND = 16  # neighbours that tell how thick the skin is at a point
_THIN = 2.2  # times the region's median thickness from which a point is none of the skin's: a clump has three times
_LOW = 1.2  # clearances over the skin up to which a point may be its margin, not the foot of a lash
_PIECE = 0.03  # share of the largest piece that still is skin: a lid cut off by its crease; clumps of lashes are less
# Times the median thickness up to which smaller pieces are skin too, and their least share: a strip of a lid between
# lashes had 0.0118, clumps are thicker by far.
_FINE, _STRIP = 1.4, 0.008
# The same for what bends, as what shows of an eye; its breadth, a deviation in spacings: clumps make narrow pieces.
_GLOBE, _SCRAP, _BROAD = 1.6, 0.012, 1.2
_FOLLOWED = 8  # times that skin is followed on: from its crease over an upper lid
_NEAR, _LEVEL, _STEEP, _FEW = 4.0, 0.25, 0.1, 10  # spacings, millimetres, share and number it is followed by
_ROUNDS = 2  # a lid's margin turns in within two spacings; each round more, and the feet of lashes grow back


def _thickness(
    points: NDArray[np.float64], normals: NDArray[np.float64], rows: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Deviation of each point and its neighbours from their plane, millimetres: skin is thin, a clump is not."""
    heights = np.einsum("mki,mi->mk", points[rows] - points[:, None], normals)
    mean = heights.sum(axis=1) / (rows.shape[1] + 1)
    thick: NDArray[np.float64] = np.sqrt(np.maximum((heights**2).sum(axis=1) / (rows.shape[1] + 1) - mean**2, 0.0))
    return thick


def _skin(
    held: Arranged, normals: NDArray[np.float64], thick: NDArray[np.float64], rows: NDArray[np.int64], spacing: float
) -> NDArray[np.bool_]:
    """Points of the pieces that hang together lying flat to each other, as thin as most of the region is."""
    start, end = np.repeat(np.arange(len(rows)), rows.shape[1]), rows.ravel()
    way = held.points[end] - held.points[start]
    length = np.linalg.norm(way, axis=1)
    cosine = np.einsum("ij,ij->i", normals[start], normals[end])
    both = normals[start] + normals[end] * np.sign(cosine)[:, None]
    height = 0.5 * np.abs(np.einsum("ij,ij->i", way, both))
    usual = float(np.median(thick))
    thin = thick < _THIN * usual
    flat = (np.abs(cosine) > 0.7) & (height < 0.08 + 0.15 * length) & thin[start] & thin[end]
    label = linked_pieces(start[flat], end[flat], len(rows))
    sizes = np.bincount(label)
    share, thickness = sizes / sizes.max(), np.bincount(label, thick) / sizes / usual
    is_skin = (share >= _PIECE) | ((thickness < _FINE) & (share >= _STRIP))
    for piece in np.flatnonzero(~is_skin & (thickness < _GLOBE) & (share >= _SCRAP)):  # what shows of an eye
        is_skin[piece] = _breadth(held.points[label == piece]) > _BROAD * spacing
    skin: NDArray[np.bool_] = is_skin[label]
    return skin


def _breadth(points: NDArray[np.float64]) -> float:
    """The middle one of the deviations along a piece's own axes, millimetres."""
    return float(np.sqrt(np.linalg.eigvalsh(np.cov(points.T))[1]))


def _followed(points: NDArray[np.float64], skin: NDArray[np.bool_], spacing: float) -> NDArray[np.bool_]:
    """Skin, and what it runs on through: a lid whose neighbours are lashes is as thick as these, but lies level."""
    skin = skin.copy()
    for _ in range(_FOLLOWED):
        doubtful = np.flatnonzero(~skin)
        on = doubtful[runs_on(points[skin], points[doubtful], _NEAR * spacing, _LEVEL, _STEEP, _FEW)]
        if not len(on):
            break
        skin[on] = True
    return skin
