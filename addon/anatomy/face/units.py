"""In which unit a capture was written, told from the size of the head in it."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...geometry.errors import BadCloud, BadSetting

MILLIMETRES = {"mm": 1.0, "cm": 10.0, "m": 1000.0, "in": 25.4}
"""Unit to millimetres."""

HEAD_SIDE = (150.0, 450.0)
"""Largest side of a box round a head alone, mm: from a bare skull cap (head length 168-225 mm, ANSUR II) to a tall
head with neck and hair."""

PLAIN_HEAD = 350.0
"""Above this a head would need a long neck or high hair, mm: 260 plus neck; common practice, no source."""

BUST_SIDE = (450.0, 1000.0)
"""Largest side where the shoulders were scanned too, mm: common practice, no source."""

INCH_SIDE = (6.0, 18.0)
"""The same span as heads in inches, in round numbers."""

_CORE_CELLS = 24
_WORDS = {"mm": "millimetres", "cm": "centimetres", "m": "metres", "in": "inches"}


@dataclass(frozen=True)
class Proposal:
    """A unit, the factor that makes millimetres of it, and whether one need ask.

    `side` is the largest side of the capture in the file's own unit, strays left out. `candidates` are the units
    under which it could be a head, likeliest first; none when it fits no unit.
    """

    unit: str
    factor: float
    certain: bool
    why: str
    side: float = 0.0
    candidates: tuple[str, ...] = ()


def propose_unit(points: NDArray[np.float64]) -> Proposal:
    """The likeliest unit of a capture of a head or bust.

    Parameters
    ----------
    points : (n, 3) array in the file's own unit; strays may be among them

    Returns
    -------
    Proposal; `certain` only where exactly one unit makes a plain head of it. A bust, a head already scaled and
    everything else is proposed with `certain` false, and `why` lists what it could be.

    Raises
    ------
    BadCloud
        No points, all of them at one place, or too few to show a head's size.

    Notes
    -----
    Spans: head length 168-225 mm and vertex-gnathion 200-260 mm with neck (ANSUR II public files, computed).
    """
    side = float(core_extent(points).max())
    if side <= 0 and (points == points[0]).all():
        raise BadCloud("all points lie at one place: there is nothing to tell a unit from")
    if side <= 0:
        raise BadCloud(f"the {len(points)} points are too few to be a head: name the scan itself")
    heads = [unit for unit in ("mm", "m", "cm") if _within(side * MILLIMETRES[unit], HEAD_SIDE)]
    if _within(side, INCH_SIDE):
        heads.append("in")
    others = [unit for unit in MILLIMETRES if unit not in heads]
    busts = [unit for unit in others if _within(side * MILLIMETRES[unit], BUST_SIDE)]
    size = f"the largest side is {side:.4g}"
    if len(heads) == 1:
        unit = heads[0]
        millimetres = side * MILLIMETRES[unit]
        why = f"{size}: a head of {millimetres:.0f} mm if it is in {_WORDS[unit]}"
        certain = millimetres <= PLAIN_HEAD
        if not certain:
            why += ", which is tall: it may be a bust or a head already scaled; say so with the unit setting"
        return Proposal(unit, MILLIMETRES[unit], certain, why, side, (unit, *busts))
    candidates = tuple(heads) + tuple(busts)
    if candidates:
        kind = "a head" if heads else "a bust"
        read = " or ".join(f"{side * MILLIMETRES[unit]:.0f} mm in {_WORDS[unit]}" for unit in candidates)
        why = f"{size}: {kind} of {read}; say which with the unit setting"
        return Proposal(candidates[0], MILLIMETRES[candidates[0]], False, why, side, candidates)
    units = ", ".join(_WORDS.values())
    why = f"{size}, which is no head in any of {units}; taken as millimetres until told otherwise"
    return Proposal("mm", 1.0, False, why, side)


def unit_factor(unit: str) -> float:
    """Millimetres in one of the unit, or `BadSetting` listing the units there are."""
    if unit not in MILLIMETRES:
        raise BadSetting(f"no unit called {unit!r}: there are {', '.join(MILLIMETRES)}")
    return MILLIMETRES[unit]


def core_extent(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """(3,) sides of the box round the main body of the points: far strays and small flying pieces left out.

    Raises
    ------
    BadCloud
        No points.
    """
    if len(points) == 0:
        raise BadCloud("no points: there is nothing to tell a unit from")
    kept = points
    for _ in range(3):
        kept = _near_the_middle(kept)
    core = _largest_clump(kept)
    return np.asarray(core.max(axis=0) - core.min(axis=0), dtype=np.float64)


def _within(value: float, span: tuple[float, float]) -> bool:
    return span[0] <= value <= span[1]


def _near_the_middle(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Drop what lies over four times as far from the middle as half of the points do: no head is so drawn out."""
    distances = np.linalg.norm(points - np.median(points, axis=0), axis=1)
    near: NDArray[np.float64] = points[distances <= 4.0 * np.median(distances)]
    return near


def _largest_clump(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """The points of the largest connected group of well-filled cells of a coarse grid."""
    low = points.min(axis=0)
    cell = float((points.max(axis=0) - low).max()) / _CORE_CELLS
    if cell <= 0:
        return points
    places = np.floor((points - low) / cell).astype(np.int64).clip(0, _CORE_CELLS - 1)
    counts = np.zeros((_CORE_CELLS,) * 3, dtype=np.int64)
    np.add.at(counts, tuple(places.T), 1)
    # Strays sit alone in their cells; skin that only grazes a cell still leaves a share of the usual number there.
    usual = float(np.median(counts[tuple(places.T)]))
    filled = counts >= max(1.0, 0.05 * usual)
    from scipy import ndimage  # with the class of a step, this module is imported when the extension is enabled

    labels, _ = ndimage.label(filled, structure=np.ones((3, 3, 3)))
    sizes = np.bincount(labels.ravel(), weights=counts.ravel())
    sizes[0] = 0
    core: NDArray[np.float64] = points[labels[tuple(places.T)] == int(np.argmax(sizes))]
    return core
