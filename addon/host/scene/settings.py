"""A step's settings as Blender properties, made from its declaration, and back."""

import math
from typing import Any

import bpy

from ...job.errands import CompareShapes
from ...steps.catalogue import all_steps
from ...steps.step import Setting, Step
from .choices import choice_help
from .wording import choice, label, sentence, title

_DIGITS = 6
_FIELD = 0.76
"""Share of the width that a field takes beside which a number stands."""
_ROOM = 14
"""Letters of a label that have room beside a field in a sidebar of the usual width."""
RELATIVE = {"PATH_SUPPORTS_BLEND_RELATIVE"}
"""The option of a path that may begin with //, the folder of the .blend."""


def identifier(step: type[Step]) -> str:
    """The step's name as Python and the host take it: cull_strays."""
    return step.NAME.replace("-", "_")


def properties_of(step: type[Step]) -> dict[str, Any]:
    """Setting name to property, for the annotations of an operator or a group."""
    return {each.name: _property(step, each) for each in step.settings()}


def step_from(step: type[Step], holder: Any) -> Step:
    """The step with the settings an operator or a group holds.

    Raises
    ------
    BadSetting
        A text setting cannot be read as what it stands for.
    """
    return step.made_from({each.name: _value(each, getattr(holder, each.name)) for each in step.settings()})


def copy_settings(step: type[Step], source: Any, target: Any) -> None:
    """Give `target` the settings of `source`; what is equal already is not written."""
    for each in step.settings():
        value = getattr(source, each.name)
        if getattr(target, each.name) != value:
            setattr(target, each.name, value)


def stored(scene: bpy.types.Scene, step: type[Step]) -> Any:
    """The group in which the scene keeps the settings of a step."""
    return getattr(scene.canthus, identifier(step))


def draw_settings(column: bpy.types.UILayout, step: type[Step], holder: Any, scale: float = 1.0) -> None:
    """A step's settings, one under the other, with labels that are not cut in a sidebar of the usual width.

    A number has its label within its field; what else there is has it beside, or over the field where it is long. On a
    head at print size, `scale`, beside a length meant at life size stands what it comes to there.
    """
    lengths = [each for each in step.settings() if on_print(each, holder, scale)]
    if lengths:
        row = column.split(factor=_FIELD)
        row.label(text="Millimeters at life size,")
        row.label(text="on print")
    for each in step.settings():
        if each in lengths:
            row = column.split(factor=_FIELD, align=True)
            row.prop(holder, each.name, text=title(each.name))
            row.label(text=on_print(each, holder, scale))
            continue
        if each.kind in ("float", "int"):
            column.prop(holder, each.name)
            continue
        beside = column.column()
        beside.use_property_split, beside.use_property_decorate = True, False  # nothing here is animated
        if each.kind != "bool" and len(label(each)) > _ROOM:
            column.label(text=f"{label(each)}:")
            column.prop(holder, each.name, text="")
        else:
            beside.prop(holder, each.name)


def on_print(each: Setting, holder: Any, scale: float) -> str:
    """What a length meant at life size comes to on the print, in millimetres; "" for what is none, and at life size."""
    if each.kind != "float" or each.unit != "mm" or each.at != "life" or scale == 1.0 or not getattr(holder, each.name):
        return ""
    return f"{scale * getattr(holder, each.name):.3g}"


def fill_in(step: Step, holder: Any) -> None:
    """Write the settings of a step into an operator or a group (a recipe's, a preset's)."""
    for each in step.settings():
        setattr(holder, each.name, _shown(each, getattr(step, each.name)))


def _property(step: type[Step], each: Setting) -> Any:
    facts: dict[str, Any] = {"name": label(each), "description": sentence(each.help)}
    if each.kind == "bool":
        return bpy.props.BoolProperty(default=each.default, **facts)
    if each.kind == "choice":
        items = [(name, choice(name), choice_help(step.NAME, each.name, name)) for name in each.choices]
        return bpy.props.EnumProperty(items=items, default=each.default, **facts)
    if each.kind == "int":
        return bpy.props.IntProperty(default=each.default, **_range(each), **facts)
    if each.kind == "float" and each.unit == "deg":
        limits = {name: math.radians(limit) for name, limit in _range(each).items()}
        return bpy.props.FloatProperty(default=math.radians(each.default), subtype="ANGLE", **limits, **facts)
    if each.kind == "float":
        return bpy.props.FloatProperty(default=each.default, precision=3, step=10, **_range(each), **facts)
    subtype = {"path": "DIR_PATH" if each.name == "folder" else "FILE_PATH"}.get(each.kind, "NONE")
    options = RELATIVE if subtype != "NONE" else set()
    return bpy.props.StringProperty(default=_shown(each, each.default), subtype=subtype, options=options, **facts)


def _range(each: Setting) -> dict[str, Any]:
    limits = {"min": each.low, "max": each.high}
    return {name: limit for name, limit in limits.items() if limit is not None}


def _value(each: Setting, held: Any) -> Any:
    """What the step takes. The host keeps numbers in 32 bits; the digits that were typed are meant."""
    if each.kind == "float" and each.unit == "deg":
        return float(f"{math.degrees(held):.{_DIGITS}g}")
    if each.kind == "float":
        return float(f"{held:.{_DIGITS}g}")
    if each.kind == "path" and held:
        return bpy.path.abspath(held)
    if each.kind == "ratio":
        return held.strip() or each.default
    return held


def _shown(each: Setting, value: Any) -> Any:
    """What the property holds for a step's value."""
    if each.kind == "float" and each.unit == "deg":
        return math.radians(value)
    if each.kind == "ratio":
        return value if isinstance(value, str) else _as_ratio(value)
    if each.kind == "point":
        return value if isinstance(value, str) else ", ".join(f"{number:g}" for number in value)
    return value


def _as_ratio(value: float) -> str:
    """0.16666 as "1/6" where that is what it is."""
    whole = round(1 / value) if value else 0
    return f"1/{whole}" if whole > 1 and abs(whole * value - 1) < 1e-9 else f"{value:g}"


def group_classes() -> list[type]:
    """A property group a step, and the one that holds them all: `scene.canthus`."""
    groups = []
    held: dict[str, Any] = {}
    for step in (*all_steps(), CompareShapes):
        name = identifier(step)
        group = type(f"CANTHUS_PG_{name}", (bpy.types.PropertyGroup,), {"__annotations__": properties_of(step)})
        groups.append(group)
        held[name] = bpy.props.PointerProperty(type=group)
    whole = type("CANTHUS_PG_settings", (bpy.types.PropertyGroup,), {"__annotations__": held})
    return [*groups, whole]
