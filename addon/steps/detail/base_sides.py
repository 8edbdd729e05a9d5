"""Which parts of the base keep their own shape, side by side: lids that were scanned shut, ears nothing is known of."""

from collections.abc import Collection, Iterable
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ..workpiece import Workpiece

if TYPE_CHECKING:
    from ...anatomy.skin.base_head import BaseHead

SIDES = ("left", "right")
_OPEN = 3.0
"""Millimetres between the margins under which an eye was shut: open ones are 7 to 12 apart (clinical range, doi
10.1007/978-3-319-23270-6_1, abstract)."""


def eyes_shut(life: Workpiece) -> list[str]:
    """Sides whose lids' margins meet, at life size."""
    shut = []
    for side in SIDES:
        lids = [life.landmarks.get(f"palpebrale-{lid}-{side}") for lid in ("superius", "inferius")]
        if all(lids):
            one, other = (np.asarray(lid.position) for lid in lids if lid is not None)
            if np.linalg.norm(one - other) < _OPEN:
                shut.append(side)
    return shut


def ears_unmarked(base: "BaseHead", marked: Iterable[int]) -> list[str]:
    """Sides of which no vertex of the ear is among the marked ones: where its folds belong is not known."""
    rows = np.array(sorted(marked), dtype=np.int64)
    ears = [(side, of_sides(base, (side,), "ears")) for side in SIDES]
    return [side for side, ear in ears if ear.any() and not ear[rows].any()]


def of_sides(base: "BaseHead", sides: Collection[str], *regions: str) -> NDArray[np.bool_]:
    """(n,) mask of the base's vertices in some regions, on these sides."""
    inner = [base.landmarks.get(f"endocanthion-{side}") for side in SIDES]
    mask, left = base.in_region(*regions), np.ones(len(base.vertices), bool)
    if inner[0] is not None and inner[1] is not None:
        way = base.vertices[inner[0]] - base.vertices[inner[1]]
        left = (base.vertices - (base.vertices[inner[0]] + base.vertices[inner[1]]) / 2) @ way > 0
    chosen: NDArray[np.bool_] = np.where(left, "left" in sides, "right" in sides)
    return mask & chosen
