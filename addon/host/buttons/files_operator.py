"""The buttons that meet the disk: load a scan, take a mesh that is already here, write the parts."""

from pathlib import Path

import bpy
import numpy as np

from ...files.writing import SUFFIXES
from ...geometry.errors import CanthusError
from ...geometry.libraries import told_if_missing
from ...job.run import run
from ...steps.catalogue import step_named
from ...steps.step import Step
from ...steps.workpiece import Workpiece
from ..scene import exchange, scene_piece, states
from ..scene.modes import object_mode
from ..scene.settings import RELATIVE, copy_settings, properties_of, step_from, stored
from ..scene.wording import description
from . import viewport
from .in_place import told
from .piece_operator import PieceOperator

_LOAD, _EXPORT = step_named("load"), step_named("export")


class _NewPiece:
    """What loading and taking share: a raw workpiece becomes one in millimetres, in a collection of its own."""

    def begin(self, context: bpy.types.Context, raw: Workpiece, passes: int = 1) -> Workpiece:
        """Run `load` on it and put it in the scene."""
        piece = run([step_from(_LOAD, self)], raw)
        if self.millimeters:
            viewport.set_millimetres(context)
        collection = scene_piece.write_piece(piece, context.scene)
        collection[scene_piece.PASSES] = passes
        copy_settings(_LOAD, self, stored(context.scene, _LOAD))
        viewport.show_colours(context)
        viewport.show_piece(context, collection)
        return piece

    def say(self, piece: Workpiece) -> None:
        for note in piece.notes:
            self.report({"WARNING"}, note)
        figures = piece.history[-1].figures
        size = " x ".join(f"{figures[axis]:.0f}" for axis in ("x_mm", "y_mm", "z_mm") if axis in figures)
        self.report({"INFO"}, f"{piece.name}: {figures.get('points', 0):,} points, {size} mm")


_MILLIMETERS = bpy.props.BoolProperty(
    name="Set Scene to Millimeters",
    description="Let one unit of the scene be one millimeter, as Canthus works",
    default=True,
)


class CANTHUS_OT_load(_NewPiece, bpy.types.Operator):
    bl_idname = "canthus.load"
    bl_label = "Load Scan"
    bl_description = "Read one scan, or several passes of one head, and bring it to millimeters"
    bl_options = {"REGISTER", "UNDO"}
    __annotations__ = {
        **properties_of(_LOAD),
        "millimeters": _MILLIMETERS,
        "filepath": bpy.props.StringProperty(
            name="File", description="Path of the scan", subtype="FILE_PATH", options={"SKIP_SAVE"} | RELATIVE
        ),
        "directory": bpy.props.StringProperty(subtype="DIR_PATH", options={"SKIP_SAVE", "HIDDEN"} | RELATIVE),
        "files": bpy.props.CollectionProperty(type=bpy.types.OperatorFileListElement, options={"SKIP_SAVE", "HIDDEN"}),
        "filter_glob": bpy.props.StringProperty(
            default=";".join(f"*{suffix}" for suffix in SUFFIXES), options={"HIDDEN"}
        ),
    }

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return states.ready(cls, context)

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        if self.filepath:
            return self.execute(context)  # a file dropped on the window, or given by a script
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        names = [each.name for each in self.files if each.name]
        paths = (
            [Path(bpy.path.abspath(self.directory)) / name for name in names]
            if names and self.directory
            else [Path(self.filepath)]
        )
        if not names and not self.filepath:
            self.report({"ERROR"}, "No file was named: choose a scan to read")
            return {"CANCELLED"}
        try:
            with told_if_missing():
                from ...job.sidecar import scanned  # with it come the heavy libraries, which enabling must not wait for
            with object_mode(context):
                piece = self.begin(context, scanned([Path(bpy.path.abspath(str(path))) for path in paths]), len(paths))
        except CanthusError as error:
            self.report({"ERROR"}, told(error))
            return {"CANCELLED"}
        self.say(piece)
        return {"FINISHED"}


class CANTHUS_OT_take_object(_NewPiece, bpy.types.Operator):
    bl_idname = "canthus.take_object"
    bl_label = "Use Selected Object"
    bl_description = "Take a copy of the selected mesh as the scan; the object itself stays as it is"
    bl_options = {"REGISTER", "UNDO"}
    __annotations__ = {**properties_of(_LOAD), "millimeters": _MILLIMETERS}

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return states.ready(cls, context) and states.free_mesh_active(cls, context, "the mesh of a scan")

    def execute(self, context: bpy.types.Context) -> set[str]:
        thing = context.object
        try:
            with object_mode(context):
                # The bare numbers: what unit they are in is for `load` to tell, as with a file.
                shape = exchange.read_object(thing, 1.0)
                piece = self.begin(context, Workpiece(name=thing.name, scan=shape))
                thing.hide_set(True)
        except CanthusError as error:
            self.report({"ERROR"}, told(error))
            return {"CANCELLED"}
        self.say(piece)
        return {"FINISHED"}


class CANTHUS_OT_export(PieceOperator, bpy.types.Operator):
    bl_idname = "canthus.export"
    bl_label = "Export Parts"
    bl_description = description(_EXPORT)
    bl_options = {"UNDO"}
    __annotations__ = {
        **properties_of(_EXPORT),
        "directory": bpy.props.StringProperty(subtype="DIR_PATH", options={"SKIP_SAVE", "HIDDEN"} | RELATIVE),
    }

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return states.ready(cls, context, *step_named("export").NEEDS)

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        context.window_manager.fileselect_add(self)
        return {"RUNNING_MODAL"}

    def steps_to_run(self, context: bpy.types.Context) -> list[Step]:
        if self.directory:
            self.folder = bpy.path.abspath(self.directory)
        return [step_from(_EXPORT, self)]

    def tell(self, before: Workpiece, after: Workpiece) -> None:
        sizes = [np.ptp(mesh.vertices, axis=0) for mesh in after.all_parts().values()]
        tallest = max(float(size[2]) for size in sizes)
        self.report({"INFO"}, f"{len(sizes)} parts written to {self.folder}; the tallest is {tallest:.2f} mm high")


CLASSES = (CANTHUS_OT_load, CANTHUS_OT_take_object, CANTHUS_OT_export)
