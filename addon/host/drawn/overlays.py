"""What is hidden or only marked, drawn over the view: marked points, thin walls, cavities, a section; with legends.

What is drawn is worked out once a shape: see `shapes`.
"""

import bpy
import numpy as np
from numpy.typing import NDArray

from ...geometry.errors import CanthusError
from ...steps.output.wall_map import COLUMN as WALL
from ..scene import exchange, looks, scene_piece, states
from . import drawing, sections, shapes
from .shapes import Overlay

MARKED = {
    "stray": ("stray points", (1.0, 0.25, 0.1, 1.0)),
    "lash": ("lash points", (1.0, 0.1, 0.75, 1.0)),
    "layer": ("points of a second skin", (0.2, 0.65, 1.0, 1.0)),
}
"""Column of a scan to what its marked points are called and drawn in."""
THIN, CAVITY = (1.0, 0.3, 0.05, 0.85), (0.15, 0.5, 1.0, 0.35)


class CANTHUS_PG_overlays(bpy.types.PropertyGroup):
    """What is drawn over the view. Held by the window manager, so it is never saved with a file."""

    marked: bpy.props.BoolProperty(
        name="Marked Points",
        default=True,
        description="Show the points that a step of Clean was told to mark rather than remove",
    )
    thin: bpy.props.BoolProperty(name="Thin Walls", description="Show where the wall is under the least one of Check")
    cavities: bpy.props.BoolProperty(
        name="Cavities", description="Show the inner faces of closed hollows, which resin cannot leave"
    )
    eyeballs: bpy.props.BoolProperty(
        name="Eye Pockets",
        default=True,
        description="Show the pocket of each placed eye in the colors of how much skin covers it, live while it moves",
    )
    points: bpy.props.IntProperty(
        name="Points Shown",
        description="Points of a scan that are drawn, a tenth of them while a step works; steps take them all",
        default=looks.SHOWN_POINTS,
        min=1000,
        soft_max=5_000_000,
    )
    section: bpy.props.BoolProperty(name="Section", description="Show where a plane meets the parts")
    wall: bpy.props.BoolProperty(
        name="Wall to Come",
        description="Show in a section where the inner face of Hollow would lie, with the wall set there",
    )
    axis: bpy.props.EnumProperty(items=sections.AXES, name="Seen", description="Which way the section is looked at")
    at: bpy.props.FloatProperty(
        name="At", default=0.5, min=0.0, max=1.0, subtype="FACTOR", description="Where the plane lies in the head"
    )


def marked_points(collection: bpy.types.Collection) -> list[Overlay]:
    """The points of the scan that were marked, by what they were marked as."""
    thing = scene_piece.object_with(collection, "scan")
    if thing is None or not thing.visible_get():
        return []
    found = []
    for column, (name, colour) in MARKED.items():
        attribute = thing.data.attributes.get(column)
        if attribute is None or attribute.domain != "POINT" or attribute.data_type != "INT":
            continue
        places = shapes.once(thing, column, lambda each=attribute: _where_marked(thing, each))
        found.append(Overlay(f"{len(places):,} {name}", colour, places))
    return found


def thin_walls(collection: bpy.types.Collection, least: float) -> list[Overlay]:
    """Triangles of the visible shapes whose wall is under `least` millimetres, as far as walls were measured."""
    found = [
        shapes.once(thing, ("thin", least), lambda each=thing: _thin_faces(each, least))
        for thing in shapes.solids(collection)
        if WALL in thing.data.attributes
    ]
    if not found:
        return []
    corners = np.concatenate(found)
    return [Overlay(f"wall under {least:g} mm: {len(corners) // 3:,} faces", THIN, corners)]


def cavities(collection: bpy.types.Collection) -> list[Overlay]:
    """The faces of closed hollows in the visible shapes."""
    found = [
        shapes.once(thing, "cavities", lambda each=thing: _hollow_faces(each)) for thing in shapes.solids(collection)
    ]
    count = sum(number for number, _ in found)
    corners = np.concatenate([each for _, each in found]) if found else np.zeros((0, 3))
    return [Overlay(f"{count} closed {'cavity' if count == 1 else 'cavities'}", CAVITY, corners)]


def shown(context: bpy.types.Context) -> list[tuple[str, Overlay]]:
    """Everything switched on that there is, with how it is drawn: "dots", "faces" or "lines"."""
    collection = scene_piece.piece_collection(context)
    if collection is None:
        return []
    wanted = context.window_manager.canthus_overlays
    found = [("dots", each) for each in marked_points(collection)] if wanted.marked else []
    if wanted.thin:
        found += [
            ("faces", each) for each in thin_walls(collection, six_digits(context.scene.canthus.check.least_wall))
        ]
    if wanted.cavities:
        found += [("faces", each) for each in cavities(collection)]
    if wanted.section or wanted.wall:
        found += [("lines", each) for each in sections.section(collection, wanted.axis, wanted.at)]
    if wanted.wall and "hollow" not in states.history_of(collection):
        wall = six_digits(context.scene.canthus.hollow.wall)
        found += [("lines", each) for each in sections.wall_to_come(collection, wanted.axis, wanted.at, wall)]
    return found


def lacking(context: bpy.types.Context) -> str:
    """What has to be done before an overlay that is switched on can show anything, or ""."""
    collection = scene_piece.piece_collection(context)
    wanted = context.window_manager.canthus_overlays
    if (
        collection is not None
        and wanted.thin
        and not any(WALL in each.data.attributes for each in shapes.solids(collection))
    ):
        return "Walls are not measured yet: tick Walls in Check and run it"
    return ""


def _draw_in_scene() -> None:
    """Draw what is switched on, and keep its words for the legend, which the host asks for next in the same view."""
    _legend.clear()
    if not bpy.context.space_data.overlay.show_overlays:
        return
    try:
        found = shown(bpy.context)
    except CanthusError as error:
        _legend.append((_TROUBLE, str(error)))
        return
    _legend.extend((each.colour, each.text) for _, each in found)
    with drawing.behind():
        for kind, each in found:
            _DRAW[kind](each)


def _draw_legend() -> None:
    drawing.legend(_legend, bpy.context.region)


_legend: list[tuple[drawing.Colour, str]] = []
_TROUBLE: drawing.Colour = (0.9, 0.1, 0.1, 1.0)
_DRAW = {
    "dots": lambda each: drawing.dots(each.places, each.colour, 4 * drawing.ui_scale()),
    "faces": lambda each: drawing.fill(each.places, each.colour),
    "lines": lambda each: drawing.segments(each.places, each.colour, 2 * drawing.ui_scale()),
}


def six_digits(held: float) -> float:
    """A number as it was typed: the host keeps it in 32 bits."""
    return float(f"{held:.6g}")


def _where_marked(thing: bpy.types.Object, attribute: bpy.types.Attribute) -> NDArray[np.float64]:
    values = np.empty(len(attribute.data), np.int32)
    attribute.data.foreach_get("value", values)
    places = exchange.points_of(thing.data)[values > 0]
    matrix = np.array(exchange.stands(thing))
    return np.asarray(places @ matrix[:3, :3].T + matrix[:3, 3])


def _thin_faces(thing: bpy.types.Object, least: float) -> NDArray[np.float64]:
    walls = np.empty(len(thing.data.vertices), np.float32)
    thing.data.attributes[WALL].data.foreach_get("value", walls)
    mesh = shapes.shape_of(thing)
    return np.asarray(mesh.corners[(walls[mesh.triangles] < least).all(axis=1)].reshape(-1, 3))


def _hollow_faces(thing: bpy.types.Object) -> tuple[int, NDArray[np.float64]]:
    from ...geometry.printing.cavities import closed_cavities

    voids = closed_cavities(shapes.shape_of(thing))
    return len(voids), np.concatenate([np.zeros((0, 3)), *[each.corners.reshape(-1, 3) for each in voids]])


DRAWN = drawing.Drawn(in_scene=_draw_in_scene, over=_draw_legend)
