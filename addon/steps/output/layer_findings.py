"""What goes wrong between layers as a part is printed: islands in mid-air, cups that suck at the film; and vents."""

import numpy as np
from numpy.typing import NDArray

from ...geometry.mesh import Mesh
from ...geometry.print_layers import islands, layers_of, suction_cups
from ..workpiece import Check, Workpiece
from .printers import Printer

SEALED = 20.0
"""Sealed area let pass, mm²: by the whole weight of the air on it 2 N at most (reference values, section 5)."""
NARROWEST_VENT = 1.5
"""Drain holes narrower than this hardly run at any scale, mm: common practice, reference values section 5."""
_COARSER = 2.0  # pixels and layers taken as one for this: half the detail, an eighth of the work


def layer_findings(name: str, mesh: Mesh, up: NDArray[np.float64], printer: Printer) -> list[Check]:
    """Islands and suction cups of a part printed as it stands."""
    layers = layers_of(mesh, up, _COARSER * printer.pixel, _COARSER * printer.layer)
    floating = [spot for spot in islands(layers) if spot.area > 1.5 * layers.pixel**2]
    where = floating[0].place if floating else ""
    advice = "they start in mid-air: put supports under them, or turn the part"
    found = [Check(f"{name}: islands", len(floating), 0, "islands", not floating, where, False, advice)]
    cups = suction_cups(layers)
    area = cups[0].area if cups else 0.0
    where = cups[0].place if area > SEALED else ""
    advice = f"up to {0.101325 * area:.0f} N of suction against the film: vent it at its lowest place, or turn the part"
    found.append(Check(f"{name}: suction cup", area, SEALED, "mm²", area <= SEALED, where, False, advice))
    return found


def vent_findings(piece: Workpiece) -> list[Check]:
    """The narrowest of the holes that `vent` made."""
    made = [hole for done in piece.history if done.name == "vent" for hole in done.figures.get("holes", ())]
    if not made:
        return []
    least = min(made, key=lambda hole: float(hole["diameter_mm"]))
    value, advice = float(least["diameter_mm"]), "resin hardly runs through it: make the vents wider"
    x, y, z = least["at_mm"]
    return [Check("vents: narrowest", value, NARROWEST_VENT, "mm", value >= NARROWEST_VENT, (x, y, z), False, advice)]
