"""Where a brow lies: its two edges, and what published proportions say of it where nothing else does."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator

from ...geometry.errors import NotReady
from ...geometry.views.depth_map import DepthMap
from ..face.norms import NORMS

NEEDED = ("subnasale", "endocanthion", "exocanthion", "palpebrale-superius", "palpebrale-inferius")
"""Landmarks a brow is proposed from; all but the first on its own side."""

# Millimetres at a fissure of mean length; they grow with the sitter's own. The brow's upper border is about 25 over the
# pupil's middle (McKinney and others 1991, Plast Reconstr Surg 87:287; from memory). Heights of the ends, and how broad
# the brow is along its length: common practice, no source.
_OVER_PUPIL = ((0.0, 19.5), (0.33, 21.5), (0.66, 23.0), (1.0, 16.5))
_HALF_BREADTH = ((0.0, 2.8), (0.15, 3.8), (0.45, 3.6), (0.7, 2.8), (0.9, 1.5), (1.0, 0.6))
_ALA_OVER_SUBNASALE = 4.0  # the wing's base stands a little higher than the septum's: from memory
_STATIONS = 25


@dataclass(frozen=True, eq=False)
class BrowGuide:
    """One brow: `upper` and `lower` are the (k, 3) points of its edges, from its head by the nose to its tail, and
    `source` what they were found from: "drawn", "colour", "relief" or "landmarks".
    """

    upper: NDArray[np.float64]
    lower: NDArray[np.float64]
    source: str


def proposed(marks: Mapping[str, NDArray[np.float64]], side: str, front: DepthMap) -> BrowGuide:
    """A brow of usual proportions over this eye, for want of anything better.

    Parameters
    ----------
    marks : landmarks by name, life size, posed
    side : the sitter's "left" or "right"
    front : the face from the front: across is x, up is z, depth is -y

    Raises
    ------
    NotReady
        A landmark is missing; it is named.

    Notes
    -----
    The head stands over the inner corner, where the upright through the wing of the nose passes; the tail ends on the
    line from the wing through the outer corner; the arch is highest over the outer part of the eye, here at two thirds
    (Westmore 1974 and Ellenbogen 1983, Plast Reconstr Surg 71:490, both from memory). The wing is taken to stand under
    the inner corner: nose as broad as the inner corners are apart (neoclassical canon). Brows differ between peoples,
    ages and fashions: this is a beginning, not an ideal.
    """
    nose, inner, outer, top, bottom = _needed(marks, side)
    size = float(np.clip(np.linalg.norm(outer - inner) / NORMS["fissure length"].mean, 0.8, 1.25))
    way, pupil = np.sign(outer[0] - inner[0]), (top[2] + bottom[2]) / 2
    wing = np.array([inner[0], nose[2] + _ALA_OVER_SUBNASALE * size])
    slope = (outer[0] - wing[0]) / (outer[2] - wing[1])
    tail = wing[0] + slope * (pupil + _OVER_PUPIL[-1][1] * size - wing[1])
    at = np.linspace(0.0, 1.0, _STATIONS)
    line = np.stack(
        [inner[0] + (tail - inner[0]) * at, pupil + size * PchipInterpolator(*np.transpose(_OVER_PUPIL))(at)], axis=1
    )
    along = np.gradient(line, axis=0)
    along /= np.linalg.norm(along, axis=1, keepdims=True)
    over = np.stack([-along[:, 1], along[:, 0]], axis=1) * way
    half = size * np.interp(at, *np.transpose(_HALF_BREADTH))[:, None]
    return BrowGuide(_on(front, line + half * over), _on(front, line - half * over), "landmarks")


def window(marks: Mapping[str, NDArray[np.float64]], side: str) -> tuple[tuple[float, float], tuple[float, float]]:
    """Low and high corner (x, z) of the part of the face in which a brow may lie, seen from the front.

    Raises
    ------
    NotReady
        A landmark is missing; it is named.
    """
    _, inner, outer, top, _ = _needed(marks, side)
    low, high = sorted((inner[0] - 0.5 * (outer[0] - inner[0]), outer[0] + 0.7 * (outer[0] - inner[0])))
    return (float(low), float(top[2] + 4.0)), (float(high), float(top[2] + 42.0))


def _needed(marks: Mapping[str, NDArray[np.float64]], side: str) -> list[NDArray[np.float64]]:
    names = (NEEDED[0], *(f"{name}-{side}" for name in NEEDED[1:]))
    for name in names:
        if name not in marks:
            raise NotReady(
                f"brows: landmark {name} is missing: run landmarks, or draw the brows as curves, or raise the other "
                "alone"
            )
    return [marks[name] for name in names]


def _on(front: DepthMap, flat: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 3) places on the face at (n, 2) across and up; where it is not seen, beside the last place that is."""
    depth = front.at(flat[:, 0], flat[:, 1])
    seen = np.flatnonzero(np.isfinite(depth))
    if not len(seen):
        raise NotReady("brows: the face is not seen where the brows should be: pose the head, or draw them as curves")
    depth = np.interp(np.arange(len(depth)), seen, depth[seen])
    return np.stack([flat[:, 0], -depth, flat[:, 1]], axis=1)
