"""A small part to print and measure: what one's own printer makes of a length, of pegs and of holes."""

from collections.abc import Sequence

import numpy as np

from ..mesh import Mesh
from ..transforms import transform
from .booleans import difference, union
from .joints import Peg
from .primitives import box, cylinder

CLEARANCES = (0.0, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3, 0.35, 0.4)
"""Millimetres on the diameter: from a press fit to a loose one (press 0.05, slip 0.15-0.20, loose 0.30-0.40: common
practice)."""
THICKNESS = 3.0
MARK = 0.5


def gauge(diameter: float = 5.0, clearances: Sequence[float] = CLEARANCES) -> dict[str, Mesh]:
    """A plate of holes and a stepped peg that goes into them.

    Parameters
    ----------
    diameter : of the peg's middle step, millimetres; its others are 1 mm thinner and thicker
    clearances : how much wider than that each hole of the plate is, from left to right

    Returns
    -------
    "gauge-plate", its holes marked by one dimple, two dimples and so on, its length a whole number of millimetres to
    measure shrinkage by; and "gauge-peg", standing beside it. Both closed, on the plane z = 0.
    """
    pitch = float(np.ceil(diameter + max(clearances) + 3.0))
    length, width = pitch * len(clearances), 2 * pitch
    plate = box((0, 0, 0), (length, width, THICKNESS))
    tools = []
    for number, clearance in enumerate(clearances):
        x = pitch * (number + 0.5)
        radius = (diameter + clearance) / 2
        tools.append(cylinder((x, pitch / 2, -1), (x, pitch / 2, THICKNESS + 1), radius, 0.001))
        tools += [_dimple(x, pitch, mark) for mark in range(number + 1)]
    steps = [Peg(diameter + more, THICKNESS + 1.0, chamfer=0.3) for more in (1.0, 0.0, -1.0)]
    stacked = [
        step.solid(0.5).moved(transform(np.diag([1.0, -1.0, -1.0]), (0, 0, 1.0 + (THICKNESS + 1.0) * number)))
        for number, step in enumerate(steps)
    ]
    foot = cylinder((0, 0, 0), (0, 0, 1.5), diameter / 2 + 2.0, 0.01)
    peg = union(foot, *stacked).moved(transform(np.eye(3), (length + diameter + 4.0, pitch / 2, 0.0)))
    return {"gauge-plate": difference(plate, *tools), "gauge-peg": peg}


def _dimple(x: float, pitch: float, mark: int) -> Mesh:
    """The `mark`-th dimple beside a hole: in rows of three."""
    column, row = mark % 3, mark // 3
    at = np.array([x + (column - 1) * 2.2 * MARK, pitch * 1.25 + row * 2.2 * MARK, THICKNESS])
    up = np.array([0.0, 0.0, 1.0])
    return cylinder(at - MARK * up, at + up, MARK / 2, 0.02)
