"""Marks on the images of the open file: what is kept with an image, and how a marks file is made of it and read back.

Pixels count as in the file: from the top left corner, x to the right, y down.
"""

import math
import os
from pathlib import Path
from typing import Any

import bpy

from ...anatomy.face.landmarks import NAMES
from ...files.photo_marks import AHEAD, INTO_CAMERA, MOST, PUPILS, PhotoMarks, photo_marks_text
from ...geometry.errors import BadFile, NotReady
from ...steps.step import Step
from .choices import PHOTO_MARKS

MARK_NAMES = (*PUPILS, *NAMES)
TURNED = "turned"
_GAZES = [
    (AHEAD, "Ahead", "The sitter looks straight ahead of the head, wherever the camera is"),
    (INTO_CAMERA, "Into the Camera", "The sitter looks into the lens"),
    (TURNED, "Turned", "The sitter's eyes are turned from straight ahead by the angles below"),
]
_FARTHEST = math.radians(60)


class CANTHUS_PG_photo_mark(bpy.types.PropertyGroup):
    """One mark; its name is the landmark's."""

    place: bpy.props.FloatVectorProperty(name="Place (px)", size=2)
    seen: bpy.props.FloatVectorProperty(name="Seen At (px)", size=2)
    is_seen: bpy.props.BoolProperty(name="Seen")


class CANTHUS_PG_photo(bpy.types.PropertyGroup):
    """What is kept with a photograph."""

    marks: bpy.props.CollectionProperty(type=CANTHUS_PG_photo_mark)
    next_mark: bpy.props.EnumProperty(items=PHOTO_MARKS, name="Mark", description="What the next click marks")
    gaze: bpy.props.EnumProperty(
        items=_GAZES, name="Gaze", description="Where the sitter looks: half a millimeter for every three degrees"
    )
    across: bpy.props.FloatProperty(
        name="To the Sitter's Left",
        description="How far the eyes are turned to the sitter's own left; negative to the right",
        subtype="ANGLE",
        min=-_FARTHEST,
        max=_FARTHEST,
    )
    up: bpy.props.FloatProperty(
        name="Up", description="How far the eyes are turned up", subtype="ANGLE", min=-_FARTHEST, max=_FARTHEST
    )
    lens: bpy.props.StringProperty(
        name="Lens", description="Photographs of one name share their focal length: one camera, one zoom"
    )
    focal: bpy.props.FloatProperty(
        name="Focal (px)",
        description="Focal length in pixels; 0 where it is unknown and to be solved",
        min=0.0,
        max=100_000.0,
    )
    whole: bpy.props.IntVectorProperty(
        name="Cut Out Of (px)",
        description="Width and height of the picture this one was cut out of, whose middle the lens looked through; "
        "zeros where it is whole",
        size=2,
        min=0,
        max=100_000,
    )
    cut_at: bpy.props.FloatVectorProperty(
        name="Cut At (px)",
        description="Where the top left corner of this picture lies in the whole one, to the right and down",
        size=2,
        min=0.0,
        max=100_000.0,
    )
    rms: bpy.props.FloatProperty(name="Reprojection (px RMS)")
    focal_found: bpy.props.FloatProperty(name="Solved Focal Length (px)")
    focal_error: bpy.props.FloatProperty(name="Its Uncertainty (px)")


def size_of(image: bpy.types.Image) -> tuple[int, int]:
    """Width and height, pixels; zeros where its file cannot be read."""
    size: Any = image.size  # two numbers, whatever the stubs say
    return int(size[0]), int(size[1])


def put_mark(image: bpy.types.Image, name: str, place: tuple[float, float]) -> None:
    """Mark `name` at a pixel, in place of an earlier mark of it. What was solved with the old one is forgotten."""
    marks = image.canthus_photo.marks
    mark = marks.get(name) or marks.add()
    mark.name, mark.place = name, place
    forget_solution(image)


def forget_solution(image: bpy.types.Image) -> None:
    """Take away where a solved camera saw the marks."""
    image.canthus_photo.rms = image.canthus_photo.focal_found = 0.0
    for mark in image.canthus_photo.marks:
        mark.is_seen = False


def marked_images() -> list[bpy.types.Image]:
    """The images of the open file that carry marks."""
    return [image for image in bpy.data.images if len(image.canthus_photo.marks)]


def marks_of(image: bpy.types.Image, folder: Path | None) -> PhotoMarks:
    """What was marked in an image, its file named as seen from a folder; by its own name where it has no file."""
    kept = image.canthus_photo
    size = size_of(image)
    if not all(size):
        raise BadFile(f'"{image.name}": its picture cannot be read: look for its file, or pack it')
    path = Path(bpy.path.abspath(image.filepath_from_user())) if image.filepath else None
    gaze: str | tuple[float, float] = kept.gaze
    if kept.gaze == TURNED:
        gaze = (round(math.degrees(kept.across), 4), round(math.degrees(kept.up), 4))
    return PhotoMarks(
        image.name if path is None else path.name if folder is None else _seen_from(folder, path),
        size,
        {mark.name: (round(mark.place[0], 3), round(mark.place[1], 3)) for mark in kept.marks},
        gaze,
        kept.lens.strip(),
        float(f"{kept.focal:.7g}"),
        *((tuple(kept.whole), tuple(round(side, 3) for side in kept.cut_at)) if any(kept.whole) else ()),
    )


def all_marks(folder: Path | None) -> list[PhotoMarks]:
    """The marks of every marked image.

    Raises
    ------
    NotReady
        No image carries marks, or more than a marks file holds.
    """
    images = marked_images()
    if not images:
        raise NotReady("no image carries marks: open a photograph in the image editor and mark it in the Canthus tab")
    if len(images) > MOST:
        raise NotReady(f"{len(images)} images carry marks, {MOST} at most are used: clear those of the others")
    return [marks_of(image, folder) for image in images]


def write_marks(path: Path) -> int:
    """Write the marks of all images to a file, and say of how many."""
    photographs = all_marks(path.parent)
    try:
        path.write_text(photo_marks_text(photographs, path.suffix), encoding="utf-8")
    except OSError as error:
        raise BadFile(f"{path}: cannot be written: {error.strerror or error}") from None
    return len(photographs)


def take_marks(photograph: PhotoMarks, folder: Path) -> bpy.types.Image:
    """The image of a photograph, loaded if it is not here yet, with its marks in place of those it had.

    Raises
    ------
    BadFile
        The photograph is not where the marks file says, or of another size.
    """
    path = folder / photograph.file
    image = next((each for each in bpy.data.images if not each.filepath and each.name == photograph.file), None)
    if image is None:
        if not path.is_file():
            raise BadFile(f"{path}: this photograph is not there: put it beside its marks file")
        image = bpy.data.images.load(str(path), check_existing=True)
    if size_of(image) != photograph.size:
        marked = " x ".join(map(str, photograph.size))
        raise BadFile(f"{path.name} is {' x '.join(map(str, size_of(image)))} pixels, its marks were made at {marked}")
    kept = image.canthus_photo
    kept.marks.clear()
    for name, place in photograph.marks.items():
        put_mark(image, name, place)
    kept.lens, kept.focal = photograph.lens, photograph.focal
    kept.whole, kept.cut_at = photograph.whole or (0, 0), photograph.cut_at
    turned = not isinstance(photograph.gaze, str)
    kept.gaze = TURNED if turned else photograph.gaze
    kept.across, kept.up = (math.radians(angle) for angle in (photograph.gaze if turned else (0.0, 0.0)))
    image.use_fake_user = True  # nothing else may use it, and its marks are work
    return image


def with_marks(step: Step) -> Step:
    """The step as it is; place-eyes with the marks of the open file's images, where it names no marks of its own.

    They are written beside the .blend, so that a recipe finds them again; before it is saved, with the host's
    temporary files.
    """
    if step.NAME != "place-eyes" or step.values()["photographs"] or not marked_images():
        return step
    if bpy.data.filepath:
        path = Path(bpy.data.filepath).with_suffix(".photographs.json")
    else:
        path = Path(bpy.app.tempdir) / "canthus.photographs.json"
    write_marks(path)
    return step.made_from({**step.values(), "photographs": str(path)})


def _seen_from(folder: Path, path: Path) -> str:
    try:
        return os.path.relpath(path, folder).replace(os.sep, "/")
    except ValueError:  # another drive: there is no way from here to there
        return str(path)


CLASSES = (CANTHUS_PG_photo_mark, CANTHUS_PG_photo)
