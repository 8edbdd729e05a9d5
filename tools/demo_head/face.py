"""The soft forms between the features: cheeks, folds, brow ridge, chin, and the brows' hair."""

from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from .shapes import Field, Points, bump, curve, step

# Seen from the front, (across, up).
NASOLABIAL = [(17.5, -17), (20.5, -23), (24.5, -32), (28.5, -41), (30.5, -48)]
BROW = [(8.5, 32.0), (13, 34.2), (20, 36.6), (28, 38.4), (35, 38.8), (41.5, 36.4), (47.5, 31.8)]
BROW_HALF_WIDTH = [1.6, 3.4, 3.5, 3.1, 2.7, 2.0, 0.5]


@cache
def _stroke(name: str) -> tuple[NDArray, cKDTree]:
    line = curve({"nasolabial": NASOLABIAL, "brow": BROW}[name], 200)
    return line, cKDTree(line)


def _beside(name: str, across: NDArray, up: NDArray) -> tuple[NDArray, NDArray]:
    """Distance from a drawn stroke, positive on its outer or upper side, and the share of its length."""
    line, tree = _stroke(name)
    places = np.stack([across, up], 1)
    distance, row = tree.query(places)
    ahead = np.gradient(line, axis=0)[row]
    offset = places - line[row]
    side = np.sign(ahead[:, 0] * offset[:, 1] - ahead[:, 1] * offset[:, 0])
    return distance * side, row / (len(line) - 1)


def relief(points: Points) -> Field:
    """Millimetres the soft forms stand out of the head's mass."""
    near = np.flatnonzero((points[:, 1] > 40) & (np.abs(points[:, 0]) < 66) & (np.abs(points[:, 2] - 8) < 108))
    raised = np.zeros(len(points), np.float32)
    across, forward, up = points[near].T
    raised[near] = _soft_forms(np.abs(across), up) * step(forward, 42, 62)
    return raised


def _soft_forms(across: NDArray, up: NDArray) -> NDArray:
    fold, along = _beside("nasolabial", across, up)
    on_fold = step(along, 0.0, 0.2) * step(along, 1.0, 0.75)
    groove = -0.75 * bump(fold, 1.9) * on_fold
    pad = 1.0 * bump(fold - 6.0, 4.5) * on_fold
    cheek = 1.3 * bump(across - 40, 11) * bump(up + 6, 9)
    hollow = -1.5 * bump(across - 46, 9) * bump(up + 34, 13)
    trough = -0.5 * bump(across - 20 - 0.45 * (7 - up), 2.6) * step(up, -7, 0) * step(up, 12, 8)
    ridge, along = _beside("brow", across, up + 4.5)
    brow = 0.9 * bump(ridge, 4.0) * step(along, 0.0, 0.3) * step(along, 1.0, 0.8)
    between = 0.8 * bump(across, 8.0) * bump(up - 30, 6.0)
    temple = -1.2 * bump(across - 58, 7) * bump(up - 38, 13)
    eminence = 0.7 * bump(across - 27, 13) * bump(up - 64, 12)
    jowl = 0.7 * bump(across - 33, 8) * bump(up + 70, 9)
    return groove + pad + cheek + hollow + trough + brow + between + temple + eminence + jowl


def brow_hair(across: NDArray, up: NDArray) -> tuple[NDArray, NDArray]:
    """How dense the brow is at a place seen from the front (0 to 1), and its strokes (-1 to 1)."""
    across = np.abs(across)
    offset, along = _beside("brow", across, up)
    half = np.interp(along * 6, np.arange(7), BROW_HALF_WIDTH)
    ends = (0.25 + 0.75 * step(along, 0.0, 0.13)) * step(along, 0.0, 0.02) * step(along, 1.0, 0.93)
    dense = step(np.abs(offset), half * 1.15, half * 0.45) * ends
    length = along * 46.0
    # Hairs stand up at the inner end, then lean outwards; those above lean down, those below lean up.
    lean = np.interp(along, [0, 0.15, 0.4, 1], [0.3, 0.9, 1.9, 3.2]) * offset - 0.16 * offset * np.abs(offset)
    wander = 0.8 * np.sin(length * 0.9 + offset * 0.7) + 0.5 * np.sin(length * 2.3 - offset * 1.1)
    strokes = 0.65 * np.sin((length - lean) * 4.4 + wander) + 0.35 * np.sin((length - 0.8 * lean) * 3.1 + 1.7 * wander)
    return dense, strokes


def brows(points: Points) -> Field:
    """Millimetres the brows' hair stands off the skin."""
    near = np.flatnonzero((points[:, 1] > 55) & (np.abs(points[:, 0]) < 54) & (np.abs(points[:, 2] - 35) < 10))
    raised = np.zeros(len(points), np.float32)
    if len(near):
        dense, strokes = brow_hair(points[near, 0], points[near, 2])
        raised[near] = dense * (0.75 + 0.38 * strokes)
    return raised
