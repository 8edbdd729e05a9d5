"""Drives the window of a real Blender through marking photographs and takes pictures of it; runs inside that Blender.

    blender HEAD.blend --python tools/photograph_pictures.py -- PHOTOGRAPHS_DIR OUT_DIR

HEAD.blend holds a head with landmarks; PHOTOGRAPHS_DIR is what `tools/photograph.py` wrote.
"""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import bpy

# Shared virtual screens mount the checkout as /project, and run this file from elsewhere.
sys.path.insert(0, "/project/tools")
sys.path.insert(1, str(Path(__file__).resolve().parent))

from window import enable, picture, play, sidebar_shown, view


def editor() -> bpy.types.Area:
    """The image editor."""
    window, _ = view()
    return next(area for area in window.screen.areas if area.type == "IMAGE_EDITOR")


def canvas(area: bpy.types.Area) -> bpy.types.Region:
    """The part of an editor its content is drawn in."""
    return next(each for each in area.regions if each.type == "WINDOW")


def press(name: str, how: str = "EXEC_DEFAULT", **settings: object) -> set[str]:
    """Press a button of the image editor's sidebar."""
    window, _ = view()
    with bpy.context.temp_override(window=window, area=editor(), region=canvas(editor())):
        outcome: set[str] = getattr(bpy.ops.canthus, name)(how, True, **settings)
        return outcome


def photographs(folder: Path, out: Path) -> Iterator[float]:
    """Empty, loaded, a mark clicked, one given up by Esc, solved with a wrong mark, looked through."""
    enable()
    window, area = view()
    with bpy.context.temp_override(window=window, area=area, region=canvas(area)):
        bpy.ops.screen.area_split(direction="VERTICAL", factor=0.58)
    yield 1.0
    largest = max((each for each in window.screen.areas if each.type == "VIEW_3D"), key=lambda each: each.width)
    largest.type = "IMAGE_EDITOR"
    yield 1.0
    yield from sidebar_shown(editor())
    yield 1.0
    picture(out, "photograph-empty")
    press("load_photo_marks", filepath=str(folder / "photographs.json"))
    image = editor().spaces.active.image
    place = tuple(image.canthus_photo.marks["pronasale"].place)
    press("clear_photo_marks")
    yield from fitted()
    yield from clicked(image, "pronasale", place)
    picture(out, "photograph-clicked")
    before = len(image.canthus_photo.marks)
    press("set_photo_mark", "INVOKE_DEFAULT", mark="stomion")
    yield 0.5
    subprocess.run(["xdotool", "key", "Escape"], check=True)
    yield 0.5
    print("Esc leaves the marks as they were:", len(image.canthus_photo.marks) == before, flush=True)
    yield from refused_over_the_sidebar(image)
    press("load_photo_marks", filepath=str(folder / "photographs.json"))
    side = bpy.data.images["photograph-1.jpg"]
    x, y = side.canthus_photo.marks["stomion"].place
    press("set_photo_mark", image=side.name, mark="stomion", place=(x + 60, y + 10))
    press("solve_cameras")
    yield 0.5
    picture(out, "photograph-solved")
    editor().spaces.active.image = side
    yield from fitted()
    picture(out, "photograph-wrong-mark")
    for name, over in (("photograph-0.jpg", False), ("photograph-1.jpg", False), ("photograph-1.jpg", True)):
        press("look_through_photo", image=name, over=over)
        _, area = view()
        with bpy.context.temp_override(window=window, area=area, region=canvas(area)):
            bpy.ops.view3d.view_center_camera()
        yield 1.0
        picture(out, f"{Path(name).stem}-{'over' if over else 'behind'}")


def fitted() -> Iterator[float]:
    """The whole photograph, beside the sidebar."""
    window, _ = view()
    with bpy.context.temp_override(window=window, area=editor(), region=canvas(editor())):
        bpy.ops.image.view_all(fit_view=True)
    yield 1.0


def clicked(image: bpy.types.Image, mark: str, place: tuple[float, float]) -> Iterator[float]:
    """A mark made with the mouse, and how far from where it was meant it came to lie."""
    press("set_photo_mark", "INVOKE_DEFAULT", mark=mark)
    yield 0.5
    window, _ = view()
    region = canvas(editor())
    x, y = region.view2d.view_to_region(place[0] / image.size[0], 1 - place[1] / image.size[1], clip=False)
    across, down = region.x + x, window.height - 1 - (region.y + y)
    subprocess.run(["xdotool", "mousemove", str(round(across)), str(round(down)), "click", "1"], check=True)
    yield 1.0
    found = image.canthus_photo.marks[mark].place
    off = [round(float(there - meant), 1) for there, meant in zip(found, place, strict=True)]
    print(f"clicked {mark}: off by {off} px of the picture, next is {image.canthus_photo.next_mark}", flush=True)


def refused_over_the_sidebar(image: bpy.types.Image) -> Iterator[float]:
    """A click on the sidebar, which lies over the photograph, marks nothing."""
    before = len(image.canthus_photo.marks)
    press("set_photo_mark", "INVOKE_DEFAULT", mark="stomion")
    yield 0.5
    window, _ = view()
    bar = next(each for each in editor().regions if each.type == "UI")
    across, down = bar.x + bar.width // 3, window.height - 1 - (bar.y + 20)
    subprocess.run(["xdotool", "mousemove", str(across), str(down), "click", "1"], check=True)
    yield 0.5
    subprocess.run(["xdotool", "key", "Escape"], check=True)
    yield 0.5
    print("a click on the sidebar marks nothing:", len(image.canthus_photo.marks) == before, flush=True)


def start() -> None:
    """Read the words after `--` and begin."""
    words = sys.argv[sys.argv.index("--") + 1 :] if "--" in sys.argv else ["/out", "/out"]
    play(photographs(Path(words[0]), Path(words[1])))


start()
