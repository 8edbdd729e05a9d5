"""Photographs by hand: mark them with a click, keep the marks in a file."""

import bpy

from ...files.photo_marks import read_photo_marks
from ...geometry.errors import CanthusError, NotReady
from ..buttons.asking import OneFile
from ..buttons.in_place import told
from ..scene import photo_images
from ..scene.choices import PHOTO_MARKS
from ..scene.wording import title
from .clicking import OneClick

IMAGE = bpy.props.StringProperty(name="Image", description="Name of the photograph; that of the editor if empty")


def image_at_hand(context: bpy.types.Context, name: str = "") -> bpy.types.Image | None:
    """The image of that name, else the one the image editor shows."""
    if name:
        return bpy.data.images.get(name)
    space = context.space_data
    return space.image if space is not None and space.type == "IMAGE_EDITOR" else None


class _OnImage:
    """What changing a photograph's marks shares."""

    bl_options = {"REGISTER", "UNDO"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        image = image_at_hand(context, self.image)
        try:
            if image is None:
                raise NotReady("there is no photograph here: open one in the image editor")
            if image.library is not None:
                raise NotReady(f'"{image.name}" is linked from another file: append it instead, or make it local')
            self.change(image)
        except CanthusError as error:
            self.report({"ERROR"}, told(error))
            return {"CANCELLED"}
        return {"FINISHED"}

    def change(self, image: bpy.types.Image) -> None:
        raise NotImplementedError


class CANTHUS_OT_set_photo_mark(_OnImage, OneClick, bpy.types.Operator):
    bl_idname = "canthus.set_photo_mark"
    bl_label = "Mark"
    bl_description = "Click where it is seen in the photograph; Esc gives up"

    mark: bpy.props.EnumProperty(items=PHOTO_MARKS, name="Mark", description="What is marked")
    place: bpy.props.FloatVectorProperty(
        name="Place (px)", description="Pixels from the top left corner, to the right and down", size=2
    )
    image: IMAGE

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        image = image_at_hand(context, self.image)
        if context.area is None or context.area.type != "IMAGE_EDITOR" or image is None:
            return self.execute(context)
        self.image = image.name
        return self.wait(context, title(self.mark))

    def taken(self, context: bpy.types.Context, event: bpy.types.Event) -> bool:
        place = under_mouse(context, event, bpy.data.images[self.image])
        if place is not None:
            self.place = place
        return place is not None

    def change(self, image: bpy.types.Image) -> None:
        width, height = photo_images.size_of(image)
        x, y = self.place
        if not (0 <= x <= width and 0 <= y <= height):
            raise NotReady(f"pixel {x:g}, {y:g} lies outside the {width} x {height} of {image.name}")
        photo_images.put_mark(image, self.mark, (x, y))
        image.use_fake_user = True  # nothing else may use it, and its marks are work
        kept = image.canthus_photo
        left = [name for name in photo_images.MARK_NAMES if name not in kept.marks]
        if left:
            kept.next_mark = left[0]


class CANTHUS_OT_remove_photo_mark(_OnImage, bpy.types.Operator):
    bl_idname = "canthus.remove_photo_mark"
    bl_label = "Remove Mark"
    bl_description = "Take this mark off the photograph"

    mark: bpy.props.EnumProperty(items=PHOTO_MARKS, name="Mark", description="Which mark is taken off")
    image: IMAGE

    def change(self, image: bpy.types.Image) -> None:
        marks = image.canthus_photo.marks
        if self.mark not in marks:
            raise NotReady(f"{title(self.mark)} is not marked in {image.name}")
        marks.remove(marks.find(self.mark))
        photo_images.forget_solution(image)


class CANTHUS_OT_clear_photo_marks(_OnImage, bpy.types.Operator):
    bl_idname = "canthus.clear_photo_marks"
    bl_label = "Clear Marks"
    bl_description = "Take all marks off this photograph: it is then no longer used"

    image: IMAGE

    def change(self, image: bpy.types.Image) -> None:
        image.canthus_photo.marks.clear()
        photo_images.forget_solution(image)


class CANTHUS_OT_save_photo_marks(OneFile, bpy.types.Operator):
    bl_idname = "canthus.save_photo_marks"
    bl_label = "Save Marks"
    bl_description = "Write the marks of all photographs to a JSON or CSV file"
    offered = "photographs.json"

    filter_glob: bpy.props.StringProperty(default="*.json;*.csv", options={"HIDDEN"})

    def execute(self, context: bpy.types.Context) -> set[str]:
        path = self.path()
        try:
            count = photo_images.write_marks(path)
        except CanthusError as error:
            self.report({"ERROR"}, told(error))
            return {"CANCELLED"}
        self.report({"INFO"}, f"Marks of {count} photographs written to {path}")
        return {"FINISHED"}


class CANTHUS_OT_load_photo_marks(OneFile, bpy.types.Operator):
    bl_idname = "canthus.load_photo_marks"
    bl_label = "Load Marks"
    bl_description = "Read a marks file, and the photographs beside it"
    bl_options = {"REGISTER", "UNDO"}

    filter_glob: bpy.props.StringProperty(default="*.json;*.csv", options={"HIDDEN"})

    def execute(self, context: bpy.types.Context) -> set[str]:
        path = self.path()
        try:
            images = [
                photo_images.take_marks(each, path.parent) for each in read_photo_marks(path, photo_images.MARK_NAMES)
            ]
        except CanthusError as error:
            self.report({"ERROR"}, told(error))
            return {"CANCELLED"}
        space = context.space_data
        if space is not None and space.type == "IMAGE_EDITOR":
            space.image = images[0]
        self.report({"INFO"}, f"{len(images)} photographs with their marks")
        return {"FINISHED"}


def under_mouse(
    context: bpy.types.Context, event: bpy.types.Event, image: bpy.types.Image
) -> tuple[float, float] | None:
    """The pixel under the mouse, from the top left corner; None beside the photograph or over the sidebar."""
    region = next((each for each in context.area.regions if each.type == "WINDOW"), None)
    if region is None or any(_within(each, event) for each in context.area.regions if each.type != "WINDOW"):
        return None  # sidebar and header lie over the photograph
    across, up = region.view2d.region_to_view(event.mouse_x - region.x, event.mouse_y - region.y)
    width, height = photo_images.size_of(image)
    return (across * width, (1 - up) * height) if 0 <= across <= 1 and 0 <= up <= 1 else None


def _within(region: bpy.types.Region, event: bpy.types.Event) -> bool:
    """Whether the mouse is over a region; one that is hidden is a pixel wide."""
    across, up = event.mouse_x - region.x, event.mouse_y - region.y
    return region.width > 1 and 0 <= across < region.width and 0 <= up < region.height


CLASSES = (
    CANTHUS_OT_set_photo_mark,
    CANTHUS_OT_remove_photo_mark,
    CANTHUS_OT_clear_photo_marks,
    CANTHUS_OT_save_photo_marks,
    CANTHUS_OT_load_photo_marks,
)
