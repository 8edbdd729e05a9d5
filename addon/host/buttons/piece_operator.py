"""A button that works on the workpiece: in place, or in a child process beside the window that stops at Esc.

Pressed in a window, heavy work goes on a stretch at a time from a timer; called from Python, or without a window, it is
done in place. Either way what comes of it is one undo step.
"""

from collections.abc import Collection, Sequence
from typing import ClassVar

import bpy

from ...geometry.cloud import Cloud
from ...geometry.errors import CanthusError, NotPossible
from ...geometry.mesh import Mesh
from ...job.run import run
from ...steps.step import Step
from ...steps.workpiece import Workpiece
from ..scene import exchange, scene_piece
from ..scene.modes import object_mode
from ..scene.new_shapes import NewShapes
from ..scene.wording import as_shown, title
from . import viewport
from .beside import Beside
from .child import Child
from .in_place import done_in_place, told


class PieceOperator(Beside):
    """What the buttons that work on the workpiece share. `steps_to_run` says what they do to it."""

    before: Workpiece | None = None
    after: Workpiece | None = None
    new: NewShapes | None = None
    read: dict[str, Mesh | Cloud] | None = None
    as_before = False
    """Whether the scene was seen to be as it was read, once the work is done."""
    steps: Sequence[Step] = ()
    collection_uid: int = 0
    steps_named = ""
    """The one step's name, which need not stand before each word of its progress."""
    spared: ClassVar[Collection[str]] = ()
    """Steps whose refusal does not end the work: see `job/run.py`."""

    def steps_to_run(self, context: bpy.types.Context) -> list[Step]:
        raise NotImplementedError

    def put_back(
        self,
        context: bpy.types.Context,
        collection: bpy.types.Collection,
        before: Workpiece,
        after: Workpiece,
        new: NewShapes | None = None,
    ) -> None:
        """Write what came of the work into the scene, and let the view follow."""
        scene_piece.write_piece(after, context.scene, collection, before, new)
        viewport.follow(context, collection, before, after)

    def execute(self, context: bpy.types.Context) -> set[str]:
        def work(collection: bpy.types.Collection, before: Workpiece) -> None:
            after = run(self.steps_to_run(context), before, spared=self.spared)
            self.put_back(context, collection, before, after)
            self.tell(before, after)

        return done_in_place(self, context, work)

    def begin_work(self, context: bpy.types.Context) -> set[str]:
        """Begin beside the window."""
        try:
            self.steps = self.steps_to_run(context)
        except CanthusError as error:
            self.report({"ERROR"}, told(error))
            return {"CANCELLED"}
        self.collection_uid = scene_piece.piece_collection(context).session_uid
        return self.go_beside(context, "reading the scene")

    def goes_on(self, context: bpy.types.Context) -> bool:
        """One stretch of the work; False at the end.

        Read the scene, hand it over, look at the child, take back, see that the scene is as it was read, write.

        Raises
        ------
        CanthusError
            What the step says, or what is wrong with the scene. Nothing has been written.
        """
        if self.before is None:
            self.before = self.read_a_stretch(context)
        elif self.after is not None and not self.as_before:
            now = self.read_a_stretch(context)
            self.as_before = now is not None and self.nothing_lost(now)
        elif self.after is not None:
            return self.written_a_stretch(context)
        elif self.child is None:
            self.child = Child(self.before, self.steps, self.spared)
        elif self.child.look():
            what = self.child.what.removeprefix(f"{self.steps_named}: ")
            self.show_progress(context, self.child.fraction, "beginning" if what == self.steps_named else what)
        else:
            child, self.child = self.child, None
            self.after = child.result()
        return True

    def read_a_stretch(self, context: bpy.types.Context) -> Workpiece | None:
        """Read one more shape of the scene; with the last of them the workpiece is whole, else None."""
        if self.read is None:
            self.read = {}
        collection, active = self.collection_again(context), context.view_layer.objects.active
        at_leisure = active is None or active.mode == "OBJECT"  # to leave another mode and come back takes long
        if at_leisure and scene_piece.read_next(collection, context.scene, self.read):
            return None
        with object_mode(context):
            piece = scene_piece.read_piece(collection, context.scene, self.read)
        self.read = None
        return piece

    def nothing_lost(self, now: Workpiece) -> bool:
        """True; raises `NotPossible` where the head was changed by hand meanwhile, which writing would undo."""
        if not scene_piece.same_piece(now, self.before):
            raise NotPossible(
                f"the head was changed by hand while {self.bl_label} ran: your change stays, and nothing else was "
                "written. Press it again"
            )
        return True

    def written_a_stretch(self, context: bpy.types.Context) -> bool:
        """Make one more of the meshes that come of the work; with the last of them put all into the scene: False."""
        collection = self.collection_again(context)
        if self.new is None:
            self.show_progress(context, 1.0, "writing the scene")
            unit = exchange.millimetres_per_unit(context.scene)
            self.new = NewShapes(self.after, self.before, collection, unit)
        if self.new.go_on():
            return True
        with object_mode(context):
            self.put_back(context, collection, self.before, self.after, self.new)
        return False

    def cancel(self, context: bpy.types.Context) -> None:
        if self.new is not None:
            self.new.drop()
            self.new = None
        super().cancel(context)

    def collection_again(self, context: bpy.types.Context) -> bpy.types.Collection:
        """The collection the work began with. References do not outlive an undo, so it is looked up."""
        for collection in scene_piece.pieces_in(context.scene):
            if collection.session_uid == self.collection_uid:
                return collection
        raise CanthusError("the head was taken away while the work ran: nothing was written")

    def told_at_the_end(self) -> None:
        self.tell(self.before, self.after)

    def tell(self, before: Workpiece, after: Workpiece) -> None:
        """One line on what was done, and what the sculptor must know."""
        for note in after.notes[len(before.notes) :]:
            self.report({"WARNING"}, as_shown(note))
        done = after.history[len(before.history) :]
        what = title(done[0].name) if len(done) == 1 else self.bl_label
        self.report({"INFO"}, f"{what} done in {sum(each.seconds for each in done):.1f} s")
