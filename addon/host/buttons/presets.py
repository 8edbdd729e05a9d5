"""Presets of a step's settings and of a photograph's lens, in the host's own preset system."""

from collections.abc import Sequence
from typing import Any

import bpy
from bl_operators.presets import AddPresetBase

from ...steps.catalogue import all_steps
from ...steps.step import Step
from ..scene.settings import identifier
from ..scene.wording import title
from . import ready_presets

PHOTO = "photo"
_OF_A_PHOTO = ("gaze", "across", "up", "lens", "focal")


def draw(layout: bpy.types.UILayout, name: str) -> None:
    """The row that chooses, keeps and forgets a preset: of a step by its identifier, or of a photograph."""
    menu = getattr(bpy.types, f"CANTHUS_MT_{name}_presets")
    row = layout.row(align=True)
    row.menu(menu.__name__, text=menu.bl_label)
    button = f"canthus.{name}_preset"
    row.operator(button, text="", icon="ADD")
    row.operator(button, text="", icon="REMOVE").remove_active = True


def classes() -> list[type]:
    """A menu and an operator for each step that has settings, and for photographs."""
    made: list[type] = [ready_presets.CANTHUS_OT_take_preset]
    for step in all_steps():
        names = [each.name for each in step.settings()]
        if names:
            made += _pair(identifier(step), title(step.NAME), f"scene.canthus.{identifier(step)}", names, step)
    return [*made, *_pair(PHOTO, "Lens and Gaze", "space_data.image.canthus_photo", _OF_A_PHOTO)]


def _pair(name: str, words: str, holder: str, values: Sequence[str], step: type[Step] | None = None) -> list[type]:
    """The menu and the operator of one kind of presets; `holder` leads from the context to what holds the values."""
    folder, menu_name = f"canthus/{name}", f"CANTHUS_MT_{name}_presets"

    def drawn(self: bpy.types.Menu, context: bpy.types.Context) -> None:
        if step is not None:
            ready_presets.draw(self.layout, step.NAME)
        if bpy.utils.preset_paths(folder):  # the host writes of missing paths where none was kept
            self.draw_preset(context)
        else:
            self.layout.label(text="None kept yet: press + beside this menu")

    menu: dict[str, Any] = {
        "bl_label": f"{words} Presets",
        "preset_subdir": folder,
        "preset_operator": "script.execute_preset",
        "draw": drawn,
    }
    add: dict[str, Any] = {
        "bl_idname": f"canthus.{name}_preset",
        "bl_label": f"Keep {words} Preset",
        "bl_description": "Keep these settings under a name, or forget the chosen one",
        "preset_menu": menu_name,
        "preset_defines": [f"settings = bpy.context.{holder}"],
        "preset_values": [f"settings.{value}" for value in values],
        "preset_subdir": folder,
    }
    return [
        type(menu_name, (bpy.types.Menu,), menu),
        type(f"CANTHUS_OT_{name}_preset", (AddPresetBase, bpy.types.Operator), add),
    ]
