"""Does it look like them? How far the closed head lies from what the scanner saw."""

from typing import Any

from ..geometry.distances.deviation import deviation, deviation_figures
from ..geometry.mesh import Mesh
from ..steps.workpiece import Workpiece

MOST_POINTS = 100_000
"""So many points settle the figures; more only take longer."""


def likeness(piece: Workpiece) -> dict[str, Any]:
    """Deviation of the cleaned scan from the closed head before anything was cut into it.

    Parameters
    ----------
    piece : a workpiece with its `scan` and its `skin`

    Returns
    -------
    The figures of `deviation_figures` in life-size millimetres, positive where the scan lies outside the
    head; empty where there is no scan or no closed head.
    """
    if piece.scan is None or piece.skin is None:
        return {}
    points = piece.scan.vertices if isinstance(piece.scan, Mesh) else piece.scan.points
    if not len(points):
        return {}
    chosen = points[:: len(points) // MOST_POINTS + 1]
    values, sign_from = deviation(chosen, piece.skin)
    return {**deviation_figures(values / piece.scale), "sign_from": sign_from}
