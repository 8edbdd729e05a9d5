"""Two shapes of the scene compared: the active one in the colours of its signed distance from the other."""

from pathlib import Path

import bpy
import numpy as np
from numpy.typing import NDArray

from ...anatomy.skin.region_names import FEWEST, SKIN
from ...geometry.errors import CanthusError, NotReady
from ...job.wording import value_text
from ..drawn import maps
from ..scene import columns, exchange, scene_piece
from ..scene.modes import object_mode
from ..scene.settings import RELATIVE
from ..scene.wording import title
from . import viewport
from .piece_operator import told

COLUMN = "deviation_mm"
_FITS = [
    ("none", "As They Lie", "Nothing is moved"),
    ("all", "All", "The active shape is laid on the other as it fits best, from wherever it lies"),
    *((name, title(name), f"Laid on the other by its {name} alone") for name in SKIN),
]


class CANTHUS_OT_compare(bpy.types.Operator):
    bl_idname = "canthus.compare"
    bl_label = "Compare"
    bl_description = (
        "Color the active shape by how far it lies outside (red) or inside (blue) the other one selected; the scan or "
        "the head alone is compared with the head before anything was cut into it"
    )
    bl_options = {"REGISTER", "UNDO"}

    fit: bpy.props.EnumProperty(name="Fit", items=_FITS, description="What is laid on the other shape to measure")
    heat: bpy.props.StringProperty(
        name="Save",
        subtype="FILE_PATH",
        options=RELATIVE,
        description="File the colored shape is written to (.ply), with its picture and legend beside it (.png)",
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        if context.active_object is None or context.active_object.type != "MESH":
            cls.poll_message_set("Select the shape to be colored, or two: the one to be colored last")
            return False
        return True

    def execute(self, context: bpy.types.Context) -> set[str]:
        from ...job.compare import compared, write_heat  # with it come the heavy libraries

        thing, unit = context.active_object, exchange.millimetres_per_unit(context.scene)
        try:
            with object_mode(context):
                other = _other(context, thing)
                shapes = [exchange.read_object(each, unit) for each in (thing, other)]
                found = compared(shapes[0], shapes[1], _marks(context, thing), self.fit, (thing.name, other.name))
                if self.heat:
                    write_heat(found, Path(bpy.path.abspath(self.heat)))
        except CanthusError as error:
            self.report({"ERROR"}, told(error))
            return {"CANCELLED"}
        columns.write(thing.data, COLUMN, found.values.astype(np.float32))
        maps.paint(thing, COLUMN)
        viewport.show_colours(context)
        figures = [f"{word} {value_text(found.figures[f'{key}_mm'])}" for word, key in _WORDS.items()]
        self.report({"INFO"}, f"{thing.name} from {other.name}, mm: {', '.join(figures)}")
        return {"FINISHED"}


_WORDS = {"mean": "mean", "RMS": "rms", "95 of 100 within": "p95"}


def _other(context: bpy.types.Context, thing: bpy.types.Object) -> bpy.types.Object:
    """What the active shape is judged against.

    Raises
    ------
    NotReady
        Nothing else is selected, and it is no scan and no head of ours.
    """
    selected = [each for each in context.selected_objects if each.type == "MESH" and each != thing]
    if len(selected) == 1:
        return selected[0]
    collection = scene_piece.piece_collection(context)
    if not selected and collection is not None and scene_piece.role_of(thing) in ("scan", "head"):
        skin = scene_piece.object_with(collection, "skin") or scene_piece.object_with(collection, "head")
        if skin is not None and skin != thing:
            return skin
    raise NotReady("select two shapes, the one to be colored last")


def _marks(context: bpy.types.Context, thing: bpy.types.Object) -> dict[str, NDArray[np.float64]]:
    """The landmarks of the head the shape belongs to; none for one from elsewhere, or where too few tell regions."""
    collection = scene_piece.piece_collection(context)
    if collection is None or not scene_piece.role_of(thing):
        return {}
    landmarks = scene_piece.bare_piece(collection, context.scene).landmarks
    if len(landmarks.keys() - {"vertex"}) < FEWEST:
        return {}
    return {name: np.asarray(mark.position) for name, mark in landmarks.items()}


CLASSES = (CANTHUS_OT_compare,)
