"""Presets that are there from the start: usual scales, eye series, fits and printers, out of the steps' own tables."""

from typing import Any

import bpy

from ...anatomy.eyes.eye import STOCK_SERIES
from ...steps.catalogue import step_named
from ...steps.output.fits import FITS
from ...steps.output.printers import PRINTERS
from ..scene.settings import stored
from ..scene.wording import title

_SCALES = ("1/3", "1/4", "1/6", "1/8", "1/9", "1/10", "1/12")
"""Scales figures and busts are usually made at: common practice, no source."""


def _whole(most: int) -> str:
    return ", ".join(str(size) for size in range(2, most + 1))


def _halves(most: int) -> str:
    return ", ".join(f"{size / 2:g}" for size in range(4, 2 * most + 1))


def _printers() -> dict[str, dict[str, Any]]:
    return {
        f"{title(name)}: {printer.plate[0]:g} x {printer.plate[1]:g} mm, Pixel {printer.pixel:g} mm": {"printer": name}
        for name, printer in PRINTERS.items()
    }


READY: dict[str, dict[str, dict[str, Any]]] = {
    "scale": {scale: {"ratio": scale, "head_height": 0.0, "eye_diameter": 0.0} for scale in _SCALES},
    "place-eyes": {
        f"Usual Sizes, {STOCK_SERIES[0]:g} to {STOCK_SERIES[-1]:g} mm": {"series": "", "stock": ""},
        "Whole Millimeters, 2 to 28": {"series": _whole(28), "stock": ""},
        "Half Millimeters, 2 to 12": {"series": _halves(12), "stock": ""},
    },
    "neck": {f"{title(name)} Fit, {clearance:g} mm": {"fit": name} for name, clearance in FITS.items() if clearance},
    "check": _printers(),
    "relief": _printers(),
}
"""A step's name to its presets: what each is called, and the settings it sets. Other settings stay as they are."""


class CANTHUS_OT_take_preset(bpy.types.Operator):
    bl_idname = "canthus.take_preset"
    bl_label = "Take Preset"
    bl_description = "Set what this preset names; other settings stay as they are"
    bl_options = {"UNDO", "INTERNAL"}

    step: bpy.props.StringProperty(name="Step", description="Name of the step, as on the command line")
    preset: bpy.props.StringProperty(name="Preset", description="What the preset is called in the step's menu")

    def execute(self, context: bpy.types.Context) -> set[str]:
        wanted = READY.get(self.step, {}).get(self.preset)
        if wanted is None:
            self.report({"ERROR"}, f'There is no preset "{self.preset}" of {self.step}')
            return {"CANCELLED"}
        holder = stored(context.scene, step_named(self.step))
        for name, value in wanted.items():
            setattr(holder, name, value)
        return {"FINISHED"}


def draw(layout: bpy.types.UILayout, step: str) -> None:
    """The presets of a step that are there from the start, in its menu."""
    for name in READY.get(step, {}):
        button = layout.operator("canthus.take_preset", text=name)
        button.step, button.preset = step, name
    if step in READY:
        layout.separator()
