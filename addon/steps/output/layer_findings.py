"""What goes wrong between layers as a part is printed: islands in mid-air, cups that suck at the film; and vents."""

import numpy as np
from numpy.typing import NDArray

from ...geometry.mesh import Mesh
from ...geometry.printing.print_layers import islands, layers_of, suction_cups
from ...geometry.printing.standing import SEALED
from ..workpiece import Check, Workpiece
from .printers import Printer

NARROWEST_VENT = 1.5
"""Drain holes narrower than this hardly run at any scale, mm: common practice, reference values section 5."""
VENTS_OFF = 45.0
"""Degrees by which the way up may differ from the one the vents were made for before it is remarked on: a hole at the
end of a hollow is then no longer near its lowest place; a judgement of ours, no source."""
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


def vent_findings(piece: Workpiece, up: NDArray[np.float64]) -> list[Check]:
    """The narrowest of the holes that `vent` made, and whether they were made for the way up the parts are printed."""
    done = [done for done in piece.history if done.name == "vent" and done.figures.get("holes")]
    made = [hole for each in done for hole in each.figures["holes"]]
    if not made:
        return []
    least = min(made, key=lambda hole: float(hole["diameter_mm"]))
    value, advice = float(least["diameter_mm"]), "resin hardly runs through it: make the vents wider"
    x, y, z = least["at_mm"]
    found = [Check("vents: narrowest", value, NARROWEST_VENT, "mm", value >= NARROWEST_VENT, (x, y, z), False, advice)]
    vented = np.asarray(done[-1].settings.get("up") or (0.0, 0.0, 1.0), dtype=np.float64)
    cosine = float(vented @ up / (np.linalg.norm(vented) * np.linalg.norm(up)))
    # Upside down is as good: the lowest and the highest hole change places.
    turned, advice = float(np.degrees(np.arccos(min(abs(cosine), 1.0)))), "give vent and check the same way up"
    fits = turned <= VENTS_OFF
    return [*found, Check("vents: turned from the way up", turned, VENTS_OFF, "deg", fits, "", False, advice)]
