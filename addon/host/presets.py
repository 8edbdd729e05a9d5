"""Presets of a step's settings, in the host's own preset system: scales, eye sizes, fits, printers."""

from typing import Any

import bpy
from bl_operators.presets import AddPresetBase

from ..steps.catalogue import all_steps
from ..steps.step import Step
from .settings import identifier
from .wording import title


def _menu_name(step: type[Step]) -> str:
    return f"CANTHUS_MT_{identifier(step)}_presets"


def draw(layout: bpy.types.UILayout, step: type[Step]) -> None:
    """The row that chooses, keeps and forgets a preset of a step."""
    menu = getattr(bpy.types, _menu_name(step))
    row = layout.row(align=True)
    row.menu(menu.__name__, text=menu.bl_label)
    button = f"canthus.{identifier(step)}_preset"
    row.operator(button, text="", icon="ADD")
    row.operator(button, text="", icon="REMOVE").remove_active = True


def classes() -> list[type]:
    """A menu and an operator for each step that has settings."""
    made: list[type] = []
    for step in all_steps():
        names = [each.name for each in step.settings()]
        if not names:
            continue
        folder = f"canthus/{identifier(step)}"
        menu: dict[str, Any] = {
            "bl_label": f"{title(step.NAME)} Presets",
            "preset_subdir": folder,
            "preset_operator": "script.execute_preset",
            "draw": bpy.types.Menu.draw_preset,
        }
        made.append(type(_menu_name(step), (bpy.types.Menu,), menu))
        add: dict[str, Any] = {
            "bl_idname": f"canthus.{identifier(step)}_preset",
            "bl_label": f"Keep {title(step.NAME)} Preset",
            "bl_description": "Keep these settings under a name, or forget the chosen one",
            "preset_menu": _menu_name(step),
            "preset_defines": [f"settings = bpy.context.scene.canthus.{identifier(step)}"],
            "preset_values": [f"settings.{name}" for name in names],
            "preset_subdir": folder,
        }
        made.append(type(f"CANTHUS_OT_{identifier(step)}_preset", (AddPresetBase, bpy.types.Operator), add))
    return made
