"""Two shapes of the scene compared: the active one in the colours of its signed distance from the other."""

import bpy

from ...anatomy.skin.region_names import FEWEST
from ...geometry.cloud import Cloud
from ...geometry.errors import BadMesh, CanthusError, NotPossible, NotReady
from ...job.errands import DEVIATION, CompareShapes
from ...job.run import run
from ...job.wording import value_text
from ...steps.workpiece import Landmark, Workpiece
from ..drawn import maps
from ..scene import columns, exchange, scene_piece, states
from ..scene.modes import object_mode
from ..scene.settings import copy_settings, draw_settings, properties_of, step_from, stored
from . import viewport
from .beside import Beside, beside_wanted
from .child import Child
from .in_place import told

_WORDS = {"mean": "mean", "RMS": "rms", "95 of 100 within": "p95"}


class CANTHUS_OT_compare(Beside, bpy.types.Operator):
    bl_idname = "canthus.compare"
    bl_label = "Compare"
    bl_description = (
        "Color the active shape by how far it lies outside (red) or inside (blue) the other one selected; the scan or "
        "the head alone is compared with the head before anything was cut into it"
    )
    bl_options = {"UNDO"}
    __annotations__ = properties_of(CompareShapes)

    pair: tuple[int, ...] = ()
    """What the host knows the two shapes by: references do not outlive an undo."""
    before: Workpiece | None = None

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        if not states.nothing_at_work(cls, context):
            return False
        if context.active_object is None or context.active_object.type != "MESH":
            cls.poll_message_set("Select the shape to be colored, or two: the one to be colored last")
            return False
        return True

    def draw(self, context: bpy.types.Context) -> None:
        draw_settings(self.layout.column(), CompareShapes, self)

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        if not beside_wanted(context):
            return self.execute(context)
        try:
            self.pair = tuple(each.session_uid for each in (context.active_object, _other(context)))
        except CanthusError as error:
            self.report({"ERROR"}, told(error))
            return {"CANCELLED"}
        return self.go_beside(context, "reading the scene")

    def execute(self, context: bpy.types.Context) -> set[str]:
        try:
            thing, other = context.active_object, _other(context)
            with object_mode(context):
                after = run([step_from(CompareShapes, self)], both(context, thing, other))
            self.put_back(context, thing, other, after)
        except CanthusError as error:
            self.report({"ERROR"}, told(error))
            return {"CANCELLED"}
        return {"FINISHED"}

    def goes_on(self, context: bpy.types.Context) -> bool:
        thing, other = self.things()
        if self.before is None:
            with object_mode(context):
                self.before = both(context, thing, other)
        elif self.child is None:
            self.child = Child(self.before, [step_from(CompareShapes, self)])
        elif self.child.look():
            self.show_progress(context, self.child.fraction, self.child.what.removeprefix("compare: "))
        else:
            child, self.child = self.child, None
            self.put_back(context, thing, other, child.result())
            return False
        return True

    def told_at_the_end(self) -> None:
        """`put_back` has told it."""

    def things(self) -> list[bpy.types.Object]:
        """The two shapes, looked up again."""
        by_uid = {each.session_uid: each for each in bpy.data.objects}
        if any(uid not in by_uid for uid in self.pair):
            raise NotPossible("a shape was taken away while they were compared: nothing was written")
        return [by_uid[uid] for uid in self.pair]

    def put_back(
        self, context: bpy.types.Context, thing: bpy.types.Object, other: bpy.types.Object, after: Workpiece
    ) -> None:
        """Write the deviations to the shape, paint them on it, and say their figures."""
        values = after.scan.columns[DEVIATION]
        if len(values) != len(thing.data.vertices):
            raise NotPossible(f"{thing.name} was changed by hand while it was compared: press Compare again")
        figures = after.history[-1].figures
        columns.write(thing.data, DEVIATION, values)
        reach = figures["colour_reach_mm"]
        maps.paint(thing, DEVIATION, (-reach, reach))
        viewport.show_colours(context)
        copy_settings(CompareShapes, self, stored(context.scene, CompareShapes))
        words = ", ".join(f"{word} {value_text(figures[f'{key}_mm'])}" for word, key in _WORDS.items())
        self.report({"INFO"}, f"{thing.name} from {other.name}, mm: {words}")


def both(context: bpy.types.Context, thing: bpy.types.Object, other: bpy.types.Object) -> Workpiece:
    """Two shapes as `CompareShapes` takes them.

    Raises
    ------
    BadMesh, BadCloud
        One of them cannot be read, or there is no surface to judge against.
    """
    unit = exchange.millimetres_per_unit(context.scene)
    judged, base = (exchange.read_object(each, unit) for each in (thing, other))
    if isinstance(base, Cloud):
        raise BadMesh(f"{other.name} holds points without faces: close it first, then compare")
    return Workpiece(thing.name, scan=judged, parts={other.name: base}, landmarks=_marks(context, thing))


def _other(context: bpy.types.Context) -> bpy.types.Object:
    """What the active shape is judged against.

    Raises
    ------
    NotReady
        Nothing else is selected, and it is no scan and no head of ours.
    """
    thing = context.active_object
    selected = [each for each in context.selected_objects if each.type == "MESH" and each != thing]
    if len(selected) == 1:
        return selected[0]
    collection = scene_piece.piece_collection(context)
    if not selected and collection is not None and scene_piece.role_of(thing) in ("scan", "head"):
        skin = scene_piece.object_with(collection, "skin") or scene_piece.object_with(collection, "head")
        if skin is not None and skin != thing:
            return skin
    raise NotReady("select two shapes, the one to be colored last")


def _marks(context: bpy.types.Context, thing: bpy.types.Object) -> dict[str, Landmark]:
    """The landmarks of the head the shape belongs to; none for one from elsewhere, or where too few tell regions."""
    collection = scene_piece.piece_collection(context)
    if collection is None or not scene_piece.role_of(thing):
        return {}
    landmarks = dict(scene_piece.bare_piece(collection, context.scene).landmarks)
    return landmarks if len(landmarks.keys() - {"vertex"}) >= FEWEST else {}


CLASSES = (CANTHUS_OT_compare,)
