"""What is hidden or only marked, drawn over the view: marked points, thin walls, cavities, a section; with legends.

What is drawn is worked out once a shape, when it is asked for or the shape has been written anew, and kept here.
"""

from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np
from numpy.typing import NDArray

from ...geometry.errors import BadMesh, CanthusError
from ...geometry.mesh import Mesh
from ...steps.output.wall_map import COLUMN as WALL
from ..scene import exchange, looks, scene_piece
from . import drawing

MARKED = {
    "stray": ("stray points", (1.0, 0.25, 0.1, 1.0)),
    "lash": ("lash points", (1.0, 0.1, 0.75, 1.0)),
    "layer": ("points of a second skin", (0.2, 0.65, 1.0, 1.0)),
}
"""Column of a scan to what its marked points are called and drawn in."""
THIN, CAVITY, SECTION = (1.0, 0.3, 0.05, 0.85), (0.15, 0.5, 1.0, 0.35), (1.0, 0.85, 0.2, 1.0)
AXES = [
    ("x", "From the Side", "Cut along the middle of the face"),
    ("y", "From the Front", "Cut from ear to ear"),
    ("z", "From Above", "Cut level"),
]


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
        description="Points of a scan that are drawn, a quarter of them while a step works; steps take them all",
        default=looks.SHOWN_POINTS,
        min=1000,
        soft_max=5_000_000,
    )
    section: bpy.props.BoolProperty(name="Section", description="Show where a plane meets the parts")
    axis: bpy.props.EnumProperty(items=AXES, name="Seen", description="Which way the section is looked at")
    at: bpy.props.FloatProperty(
        name="At", default=0.5, min=0.0, max=1.0, subtype="FACTOR", description="Where the plane lies in the head"
    )


@dataclass(frozen=True)
class Overlay:
    """One thing drawn: its words and colour, and the places in the scene's units."""

    text: str
    colour: drawing.Colour
    places: NDArray[np.float64]


_kept: dict[tuple[Any, ...], Any] = {}
_crossed: dict[int, tuple[Any, NDArray[np.float64]]] = {}
"""By an object's mesh: the plane it was last cut with, and the ends of the lines."""
_MOST_KEPT = 24


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
        places = once(thing, column, lambda each=attribute: _where_marked(thing, each))
        found.append(Overlay(f"{len(places):,} {name}", colour, places))
    return found


def thin_walls(collection: bpy.types.Collection, least: float) -> list[Overlay]:
    """Triangles of the visible shapes whose wall is under `least` millimetres, as far as walls were measured."""
    found = [
        once(thing, ("thin", least), lambda each=thing: _thin_faces(each, least))
        for thing in _solids(collection)
        if WALL in thing.data.attributes
    ]
    if not found:
        return []
    corners = np.concatenate(found)
    return [Overlay(f"wall under {least:g} mm: {len(corners) // 3:,} faces", THIN, corners)]


def cavities(collection: bpy.types.Collection) -> list[Overlay]:
    """The faces of closed hollows in the visible shapes."""
    found = [once(thing, "cavities", lambda each=thing: _hollow_faces(each)) for thing in _solids(collection)]
    count = sum(number for number, _ in found)
    corners = np.concatenate([each for _, each in found]) if found else np.zeros((0, 3))
    return [Overlay(f"{count} closed {'cavity' if count == 1 else 'cavities'}", CAVITY, corners)]


def section(collection: bpy.types.Collection, axis: str, at: float) -> list[Overlay]:
    """Ends of the lines in which a plane across the head meets the visible shapes."""
    shapes = _shapes(collection)
    if not shapes:
        return []
    row = "xyz".index(axis)
    low = min(float(each.vertices[:, row].min()) for each in shapes)
    high = max(float(each.vertices[:, row].max()) for each in shapes)
    level = low + at * (high - low)
    ends = outline_on(collection, level * np.eye(3)[row], np.eye(3)[row])
    unit = exchange.millimetres_per_unit(bpy.context.scene)
    return [Overlay(f"section at {axis} = {round(level * unit, 1) + 0.0:.1f} mm", SECTION, ends)]


def outline_on(
    collection: bpy.types.Collection, origin: NDArray[np.float64], up: NDArray[np.float64]
) -> NDArray[np.float64]:
    """(2 n, 3) ends of the lines in which a plane meets the visible shapes, all in the scene's units."""
    ends = [_crossing_of(thing, origin, up) for thing in _solids(collection)]
    return np.concatenate([np.zeros((0, 3)), *ends])


def _crossing_of(thing: bpy.types.Object, origin: NDArray[np.float64], up: NDArray[np.float64]) -> NDArray[np.float64]:
    """`crossing` with an object; the last one is kept, as a view that is turned asks for the same again and again."""
    key = (_form_of(thing), tuple(origin), tuple(up))
    kept = _crossed.get(thing.data.session_uid)
    if kept is None or kept[0] != key:
        kept = _crossed[thing.data.session_uid] = (key, crossing(_shape(thing), origin, up))
    return kept[1]


def crossing(mesh: Mesh, origin: NDArray[np.float64], up: NDArray[np.float64]) -> NDArray[np.float64]:
    """(2 n, 3) ends of the segments in which the triangles of a mesh meet a plane."""
    heights = (mesh.vertices - origin) @ up
    above = heights >= 0
    sides = above[mesh.triangles].sum(axis=1)
    crossed = mesh.triangles[(sides == 1) | (sides == 2)]
    ahead = np.roll(crossed, -1, axis=1)
    cut = above[crossed] != above[ahead]
    start, end = crossed[cut], ahead[cut]
    share = (heights[start] / (heights[start] - heights[end]))[:, None]
    return np.asarray(mesh.vertices[start] * (1 - share) + mesh.vertices[end] * share)


def shown(context: bpy.types.Context) -> list[tuple[str, Overlay]]:
    """Everything switched on that there is, with how it is drawn: "dots", "faces" or "lines"."""
    collection = scene_piece.piece_collection(context)
    if collection is None:
        return []
    wanted = context.window_manager.canthus_overlays
    found = [("dots", each) for each in marked_points(collection)] if wanted.marked else []
    if wanted.thin:
        found += [("faces", each) for each in thin_walls(collection, _least_wall(context.scene))]
    if wanted.cavities:
        found += [("faces", each) for each in cavities(collection)]
    if wanted.section:
        found += [("lines", each) for each in section(collection, wanted.axis, wanted.at)]
    return found


def lacking(context: bpy.types.Context) -> str:
    """What has to be done before an overlay that is switched on can show anything, or ""."""
    collection = scene_piece.piece_collection(context)
    wanted = context.window_manager.canthus_overlays
    if collection is not None and wanted.thin and not any(WALL in each.data.attributes for each in _solids(collection)):
        return "Walls are not measured yet: tick Walls in Check and run it"
    return ""


def forget() -> None:
    """Drop what is kept: references do not outlive the file they belong to."""
    _kept.clear()
    _crossed.clear()


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


def _least_wall(scene: bpy.types.Scene) -> float:
    return float(f"{scene.canthus.check.least_wall:.6g}")


def _solids(collection: bpy.types.Collection) -> list[bpy.types.Object]:
    """The head and parts that can be seen."""
    return [
        thing
        for thing in collection.objects
        if scene_piece.role_of(thing).split("/")[0] in ("head", "skin", "parts")
        and thing.type == "MESH"
        and thing.visible_get()
    ]


def once(thing: bpy.types.Object, what: Any, made: Any) -> Any:
    """What `made` gives, kept until the object gets another mesh or stands elsewhere."""
    key = (*_form_of(thing), what)
    if key not in _kept:
        if len(_kept) >= _MOST_KEPT:
            _kept.pop(next(iter(_kept)))
        _kept[key] = made()
    return _kept[key]


def _form_of(thing: bpy.types.Object) -> tuple[Any, ...]:
    """What changes with an object's mesh or place."""
    stands = tuple(round(each, 6) for row in exchange.stands(thing) for each in row)
    return thing.data.session_uid, len(thing.data.vertices), stands


def _shape(thing: bpy.types.Object) -> Mesh:
    shape: Mesh = once(thing, "shape", lambda: shape_of(thing))
    return shape


def _shapes(collection: bpy.types.Collection) -> list[Mesh]:
    return [_shape(thing) for thing in _solids(collection)]


def shape_of(thing: bpy.types.Object, unit: float = 1.0) -> Mesh:
    """The object's surface in the scene's units, or in millimetres where `unit` says how many there are in one."""
    shape = exchange.read_object(thing, unit)
    if not isinstance(shape, Mesh):
        raise BadMesh(f'"{thing.name}" has lost its faces: undo, or run its step again')
    return shape


def _where_marked(thing: bpy.types.Object, attribute: bpy.types.Attribute) -> NDArray[np.float64]:
    values = np.empty(len(attribute.data), np.int32)
    attribute.data.foreach_get("value", values)
    places = exchange.points_of(thing.data)[values > 0]
    matrix = np.array(exchange.stands(thing))
    return np.asarray(places @ matrix[:3, :3].T + matrix[:3, 3])


def _thin_faces(thing: bpy.types.Object, least: float) -> NDArray[np.float64]:
    walls = np.empty(len(thing.data.vertices), np.float32)
    thing.data.attributes[WALL].data.foreach_get("value", walls)
    mesh = shape_of(thing)
    return np.asarray(mesh.corners[(walls[mesh.triangles] < least).all(axis=1)].reshape(-1, 3))


def _hollow_faces(thing: bpy.types.Object) -> tuple[int, NDArray[np.float64]]:
    from ...geometry.printing.cavities import closed_cavities

    voids = closed_cavities(shape_of(thing))
    return len(voids), np.concatenate([np.zeros((0, 3)), *[each.corners.reshape(-1, 3) for each in voids]])


DRAWN = drawing.Drawn(in_scene=_draw_in_scene, over=_draw_legend)
