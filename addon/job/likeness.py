"""Does it look like them? How far the closed head lies from what the scanner saw."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..geometry.cloud import Cloud
from ..geometry.distances.deviation import deviation
from ..geometry.mesh import Mesh
from ..steps.workpiece import Workpiece
from .deviations import FEWEST_MARKS, figures_of, reach_of, regions_of

MOST_POINTS = 100_000
"""So many points settle the figures; more only take longer."""


@dataclass(frozen=True, eq=False)
class Likeness:
    """The scan's points that were looked at, posed and at life size, (n,) how far each lies off the head, mm, positive
    outside, and the figures of that.
    """

    points: NDArray[np.float64]
    values: NDArray[np.float64]
    figures: dict[str, Any]

    @property
    def cloud(self) -> Cloud:
        """The points alone, to be drawn and written."""
        return Cloud(self.points)

    @property
    def reach(self) -> float:
        """Millimetres at which the colours of a map are full."""
        return reach_of(self.values)


def likeness(piece: Workpiece) -> Likeness | None:
    """Deviation of the cleaned scan from the closed head before anything was cut into it.

    Parameters
    ----------
    piece : a workpiece with its `scan` and its `skin`

    Returns
    -------
    Its figures are those of `figures_of` in life-size millimetres, by region where landmarks tell them; None where
    there is no scan or no closed head.
    """
    if piece.scan is None or piece.skin is None:
        return None
    points = piece.scan.vertices if isinstance(piece.scan, Mesh) else piece.scan.points
    if not len(points):
        return None
    chosen = points[:: len(points) // MOST_POINTS + 1]
    values, sign_from = deviation(chosen, piece.skin)
    values, life = values / piece.scale, chosen / piece.scale
    marks = {name: np.asarray(mark.position) / piece.scale for name, mark in piece.landmarks.items()}
    region = regions_of(life, marks) if len(marks) >= FEWEST_MARKS else None
    return Likeness(life, values, {**figures_of(values, region), "sign_from": sign_from})
