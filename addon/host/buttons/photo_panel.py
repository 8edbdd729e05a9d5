"""The image editor's tab: marks of the photograph that is shown, its gaze and lens, cameras."""

import bpy

from ..scene import photo_images
from ..scene.tabs import ImageTab
from ..scene.wording import title
from . import extra_panels, presets


class CANTHUS_PT_photo(ImageTab, bpy.types.Panel):
    bl_label = "Reference Photograph"
    bl_order = 0

    def draw(self, context: bpy.types.Context) -> None:
        layout = self.layout
        image = context.space_data.image
        if image is None or not all(photo_images.size_of(image)):
            extra_panels.draw_text(
                layout.column(align=True), context, "Open a photograph of the sitter to mark it, or load marks", "INFO"
            )
            layout.operator("canthus.load_photo_marks", text="Load Marks...", icon="FILE_FOLDER")
            return
        kept = image.canthus_photo
        row = layout.row(align=True)
        row.prop(kept, "next_mark", text="")
        row.operator("canthus.set_photo_mark", text="Mark", icon="PIVOT_CURSOR").mark = kept.next_mark
        column = layout.column()
        column.use_property_split, column.use_property_decorate = True, False
        presets.draw(column, presets.PHOTO)
        column.prop(kept, "gaze")
        if kept.gaze == photo_images.TURNED:
            column.prop(kept, "across")
            column.prop(kept, "up")
        column.prop(kept, "lens")
        column.prop(kept, "focal")
        column.prop(kept, "whole")
        if any(kept.whole):
            column.prop(kept, "cut_at")
        row = layout.row(align=True)
        row.operator("canthus.load_photo_marks", text="Load...", icon="FILE_FOLDER")
        row.operator("canthus.save_photo_marks", text="Save...", icon="FILE_TICK")


class CANTHUS_PT_photo_marks(ImageTab, bpy.types.Panel):
    bl_label = "Marks"
    bl_order = 1

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        return context.space_data.image is not None

    def draw(self, context: bpy.types.Context) -> None:
        layout = self.layout
        image = context.space_data.image
        marks = image.canthus_photo.marks
        if not len(marks):
            layout.label(text="Nothing is marked yet", icon="INFO")
            return
        solved = image.canthus_photo.focal_found > 0
        column = layout.column(align=True)
        for name in sorted(marks.keys(), key=photo_images.MARK_NAMES.index):
            row = column.row(align=True)
            left_out = solved and not marks[name].is_seen
            row.alert = left_out
            icon = "ERROR" if left_out else "DOT"
            row.operator("canthus.set_photo_mark", text=title(name), icon=icon, emboss=False).mark = name
            row.operator("canthus.remove_photo_mark", text="", icon="X", emboss=False).mark = name
        layout.operator("canthus.clear_photo_marks", icon="TRASH")


class CANTHUS_PT_photo_cameras(ImageTab, bpy.types.Panel):
    bl_label = "Cameras"
    bl_order = 2

    def draw(self, context: bpy.types.Context) -> None:
        layout = self.layout
        layout.operator("canthus.solve_cameras", icon="CAMERA_DATA")
        images = photo_images.marked_images()
        if images:
            extra_panels.draw_text(layout.column(align=True), context, "Place Eyes goes by these marks as well", "INFO")
        for image in images:
            kept = image.canthus_photo
            row = layout.row()
            row.label(text=image.name, icon="IMAGE_DATA")
            if kept.focal_found > 0:
                for icon, over in (("VIEW_CAMERA", False), ("OVERLAY", True)):
                    button = row.operator("canthus.look_through_photo", text="", icon=icon)
                    button.image, button.over = image.name, over
                layout.label(text=f"{kept.rms:.1f} px RMS, lens {kept.focal_found:.0f} ± {kept.focal_error:.0f} px")
            else:
                row.label(text=f"{len(kept.marks)} mark{'' if len(kept.marks) == 1 else 's'}")


CLASSES = (CANTHUS_PT_photo, CANTHUS_PT_photo_marks, CANTHUS_PT_photo_cameras)
