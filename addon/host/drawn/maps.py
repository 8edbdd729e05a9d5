"""Maps on the surface: what a step has noted at each vertex, as colours, with a legend beside it.

The colours are an attribute shown by the solid view's own shading: it needs no drawing code and can be saved. Only the
legend is drawn here.
"""

import bpy
import numpy as np
from numpy.typing import NDArray

from ...job.heat_map import cool_warm
from ...job.wording import named
from ..scene import exchange, scene_piece
from ..scene.wording import us_spelling
from . import drawing

ATTRIBUTE = exchange.MAP
_STOPS = np.array([0.0, 0.25, 0.5, 0.75, 1.0])
# Even steps of lightness from dark to light. Chosen by hand; what changes sign has the colours of `job/heat_map.py`.
_RISING = np.array([(36, 34, 74), (58, 96, 138), (86, 156, 145), (172, 205, 126), (250, 240, 170)]) / 255
_STEPS = 33
_MIDDLE, _MOST_BENT = 0.3, 0.25
"""Where on a rising map the middle one of the values is to lie at least; and the power it is bent by at most for that:
where most of a head lies within a hundredth of the range, it would be of one colour."""


def colours_of(values: NDArray[np.float64], low: float, high: float, bend: float = 1.0) -> NDArray[np.float32]:
    """(n, 4) sRGB colours: diverging round zero where the range holds it within, else rising from dark to light.

    A value that lies a share s between low and high has its colour at s ** bend of the rising ones.
    """
    if low < 0 < high:
        rgb = cool_warm(values / max(-low, high)) / 255.0
    else:
        part = np.clip((values - low) / max(high - low, 1e-12), 0, 1) ** bend
        rgb = np.stack([np.interp(part, _STOPS, _RISING[:, channel]) for channel in range(3)], axis=1)
    rgba: NDArray[np.float32] = np.concatenate([rgb, np.ones((len(values), 1))], axis=1).astype(np.float32)
    return rgba


def range_of(values: NDArray[np.float64]) -> tuple[float, float]:
    """What the map runs over: all but the outermost fiftieth of the values, round zero where they change sign."""
    low, high = np.percentile(values[np.isfinite(values)], (1, 99))
    if low < 0 < high:
        high = max(-low, high)
        low = -high
    return float(low), float(high)


def bend_of(values: NDArray[np.float64], low: float, high: float) -> float:
    """The power that a rising map is bent by, so that it tells values apart where most of them lie; else 1."""
    if low < 0 < high or high <= low:
        return 1.0
    middle = float(np.clip((np.median(values[np.isfinite(values)]) - low) / (high - low), 1e-9, 1.0))
    return 1.0 if middle >= _MIDDLE else float(max(np.log(_MIDDLE) / np.log(middle), _MOST_BENT))


def columns_of(thing: bpy.types.Object | None) -> list[str]:
    """The values a vertex that an object can show as a map."""
    if thing is None or thing.type != "MESH":
        return []
    return [
        each.name
        for each in thing.data.attributes
        if each.domain == "POINT" and each.data_type in ("FLOAT", "INT") and not each.name.startswith(".")
    ]


def words_for(column: str) -> str:
    """What a column is called where it is shown: "Distance from data (mm)"."""
    words, unit = named(column)
    return us_spelling(f"{words.capitalize()} ({unit})" if unit else words.capitalize())


def paint(thing: bpy.types.Object, column: str, between: tuple[float, float] | None = None) -> None:
    """Paint a column of an object on it, its colours full at the ends of the range `between`, or of `range_of`."""
    data = thing.data
    kind = np.int32 if data.attributes[column].data_type == "INT" else np.float32
    held = np.empty(len(data.vertices), kind)
    data.attributes[column].data.foreach_get("value", held)
    values = held.astype(np.float64)
    low, high = between or range_of(values)
    bend = bend_of(values, low, high)
    if ATTRIBUTE not in data.color_attributes:
        data.color_attributes.new(ATTRIBUTE, "BYTE_COLOR", "POINT")
    attribute = data.color_attributes[ATTRIBUTE]
    attribute.data.foreach_set("color_srgb", colours_of(values, low, high, bend).ravel())
    data.color_attributes.active_color = attribute
    thing["canthus_map"] = {"column": column, "low": low, "high": high, "bend": bend}
    data.update()


def wipe(thing: bpy.types.Object) -> None:
    """Take the map off, and show the object's own colours again."""
    attribute = thing.data.color_attributes.get(ATTRIBUTE)
    if attribute is not None:
        thing.data.color_attributes.remove(attribute)
    if len(thing.data.color_attributes):
        thing.data.color_attributes.active_color = thing.data.color_attributes[0]
    if "canthus_map" in thing:
        del thing["canthus_map"]
    thing.data.update()


def draw_legend() -> None:
    """The scale of the map of the active object, at the upper left of the view: below on the left is the redo panel."""
    thing = bpy.context.active_object
    if thing is None or "canthus_map" not in thing or not scene_piece.role_of(thing):
        return
    shown = thing["canthus_map"]
    ui = drawing.ui_scale()
    left, bottom, width, height = 70 * ui, bpy.context.region.height - 190 * ui, 220 * ui, 12 * ui
    steps = np.linspace(shown["low"], shown["high"], _STEPS)
    colours = colours_of(steps, shown["low"], shown["high"]).astype(float)
    middle = shown["low"] + (shown["high"] - shown["low"]) * 0.5 ** (1 / shown.get("bend", 1.0))
    along = left + width * np.arange(_STEPS) / (_STEPS - 1)
    corners = np.stack([np.repeat(along, 2), np.tile([bottom, bottom + height], _STEPS), np.zeros(2 * _STEPS)], axis=1)
    first = 2 * np.arange(_STEPS - 1)[:, None, None]
    drawing.shaded(corners, np.repeat(colours, 2, axis=0), (first + np.array([(0, 2, 1), (1, 2, 3)])).reshape(-1, 3))
    for text, x, y in (
        (f"{shown['low']:.3g}", left, bottom - 15 * ui),
        (f"{middle:.3g}", left + width / 2 - 12 * ui, bottom - 15 * ui),
        (f"{shown['high']:.3g}", left + width - 30 * ui, bottom - 15 * ui),
        (words_for(str(shown["column"])), left, bottom + 18 * ui),
    ):
        drawing.words(text, x, y, size=12)


DRAWN = drawing.Drawn(over=draw_legend)
