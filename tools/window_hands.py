"""Pictures of what is done with the hands: eyes and lid margins dragged, the cut's plane moved, a section drawn."""

import subprocess
from collections.abc import Callable, Iterator
from math import degrees, radians
from pathlib import Path

import bpy
from bpy_extras.view3d_utils import location_3d_to_region_2d
from mathutils import Quaternion
from window import picture, press, view

LANDMARKS_FOLD = (1056, 718)
"""Where the folded list of landmarks lies on a screen of 1600 by 1000, in pixels."""
FACING = Quaternion((1, 0, 0), radians(88))
"""The view on the face from the front."""


def eyes_by_hand(folder: Path) -> Iterator[float]:
    """Close to the left eye: its pocket's colours, its margin's handles, and one of them dragged with the mouse."""
    from canthus.host.buttons import viewport
    from canthus.host.hands import handles
    from canthus.host.scene import scene_piece

    collection = scene_piece.pieces_in(bpy.context.scene)[0]
    eye = scene_piece.object_with(collection, "eye/left")
    _, area = view()
    space = area.spaces[0].region_3d
    space.view_rotation, space.view_location = FACING, eye.matrix_world.translation
    space.view_distance *= 0.2
    yield 1.0
    picture(folder, "pocket")
    yield from eye_dragged(folder, eye)
    collection = scene_piece.pieces_in(bpy.context.scene)[0]  # what was undone is another object to the host
    press("drag_handles")
    yield 0.5
    margin = scene_piece.object_with(collection, "margin/left")
    top = max((each for each in handles.handles_in(collection) if each.thing == margin), key=lambda each: each.place.z)
    x, y = on_screen(area, top.place)
    before = [tuple(point.co) for point in top.thing.data.splines[0].points]
    yield from drawn_up(x, y, 24, lambda: picture(folder, "margin-dragged"))
    moved = sum(one != tuple(point.co) for one, point in zip(before, top.thing.data.splines[0].points, strict=True))
    print(f"dragging a handle moved {moved} of {len(before)} points of the margin", flush=True)
    subprocess.run(["xdotool", "key", "Return"], check=True)
    yield 0.5
    bpy.ops.ed.undo()
    yield 0.5
    viewport.show_piece(bpy.context, scene_piece.pieces_in(bpy.context.scene)[0])
    yield 0.5


def eye_dragged(folder: Path, eye: bpy.types.Object) -> Iterator[float]:
    """The eye clicked on, drawn outward and rolled with the host's own keys, its pocket's colours live; all undone."""
    _, area = view()
    x, y = on_screen(area, eye.matrix_world.translation)
    place, turn = eye.matrix_world.translation.copy(), eye.matrix_world.to_quaternion()
    bpy.ops.object.select_all(action="DESELECT")
    eye.select_set(True)
    bpy.context.view_layer.objects.active = eye
    for key, name, (across, up) in (("g", "eye-dragged", (36, -20)), ("r", "eye-rolled", (10, 70))):
        subprocess.run(["xdotool", "mousemove", str(x + 60), str(y), "key", key], check=True)
        yield 0.7
        for part in (0.5, 1.0):
            subprocess.run(
                ["xdotool", "mousemove", str(x + 60 + int(part * across)), str(y + int(part * up))], check=True
            )
            yield 0.7
        picture(folder, name)
        subprocess.run(["xdotool", "click", "1"], check=True)
        yield 0.7
    off, by = (eye.matrix_world.translation - place).length, turn.rotation_difference(eye.matrix_world.to_quaternion())
    print(f"the left eye was drawn {off:.2f} mm and rolled {degrees(by.angle):.0f} degrees", flush=True)
    for _ in range(2):
        bpy.ops.ed.undo()
        yield 0.5


def brows_by_hand(folder: Path) -> Iterator[float]:
    """The brows' edges laid as curves, and one of them dragged along the skin with the mouse; undone."""
    from canthus.host.buttons import viewport
    from canthus.host.hands import handles
    from canthus.host.scene import brow_curves, curves, scene_piece

    collection = scene_piece.pieces_in(bpy.context.scene)[0]
    try:
        press("brow_curves", "EXEC_DEFAULT")
    except RuntimeError as error:  # not every capture shows its lids well enough
        print("brow curves refused:", error, flush=True)
        return
    yield 0.7
    _, area = view()
    space = area.spaces[0].region_3d
    top = max(
        (each for each in handles.handles_in(collection) if scene_piece.role_of(each.thing) == "brow/left-upper"),
        key=lambda each: each.place.z,
    )
    space.view_rotation, space.view_location = FACING, top.place
    space.view_distance *= 0.25
    press("drag_handles")
    yield 1.0
    picture(folder, "brow-curves")
    before, (x, y) = curves.places_of(top.thing), on_screen(area, top.place)
    yield from drawn_up(x, y, 32, lambda: picture(folder, "brow-dragged"))
    moved = (curves.places_of(top.thing) != before).any(axis=1).sum()
    print(f"dragging a handle moved {moved} of {len(before)} points of the brow's edge", flush=True)
    subprocess.run(["xdotool", "key", "Return"], check=True)
    yield 0.5
    bpy.ops.ed.undo()
    yield 0.5
    same = (curves.places_of(brow_curves.things_in(scene_piece.pieces_in(bpy.context.scene)[0])[0]) == before).all()
    print(f"undone, the edge lies as it was: {bool(same)}", flush=True)
    press("brow_curves", "EXEC_DEFAULT")
    viewport.show_piece(bpy.context, scene_piece.pieces_in(bpy.context.scene)[0])
    yield 0.5


def drawn_up(x: int, y: int, pixels: int, held: Callable[[], None]) -> Iterator[float]:
    """What lies under a place on the screen taken hold of, drawn up, looked at, and let go."""
    subprocess.run(["xdotool", "mousemove", str(x), str(y), "mousedown", "1"], check=True)
    yield 1.0
    for lift in range(4, pixels + 4, 4):
        subprocess.run(["xdotool", "mousemove", str(x), str(y - lift)], check=True)
        yield 0.4
    held()
    subprocess.run(["xdotool", "mouseup", "1"], check=True)
    yield 0.5


def cut_plane(folder: Path) -> Iterator[float]:
    """Where the neck is cut, with its handles."""
    press("show_plane", "EXEC_DEFAULT", step="neck")
    yield 0.5
    picture(folder, "cut-plane")
    press("show_plane", "EXEC_DEFAULT", step="neck")
    yield 0.5


def landmarks_listed(folder: Path) -> Iterator[float]:
    """The list of landmarks unfolded in the sidebar, weak ones in red."""
    window, area = view()
    region = next(each for each in area.regions if each.type == "UI")
    click = ["xdotool", "mousemove", *map(str, LANDMARKS_FOLD), "click", "1"]
    subprocess.run(click, check=True)
    yield 1.5
    for way in ("scroll_down", "scroll_up"):
        with bpy.context.temp_override(window=window, area=area, region=region):
            for _ in range(12):
                getattr(bpy.ops.view2d, way)()
        yield 1.0
        if way == "scroll_down":
            picture(folder, "landmarks-listed")
    subprocess.run(click, check=True)
    yield 1.0


def painted_and_cut(folder: Path) -> Iterator[float]:
    """The strength of relief painted with the mouse, then where the neck is cut."""
    from canthus.host.buttons import masks
    from canthus.host.scene import scene_piece

    press("paint_mask", "EXEC_DEFAULT")
    yield 1.0
    _, area = view()
    head = scene_piece.object_with(scene_piece.pieces_in(bpy.context.scene)[0], "head")
    canvas = next(each for each in area.regions if each.type == "WINDOW")
    x, y = canvas.x + canvas.width * 53 // 100, 480
    subprocess.run(["xdotool", "mousemove", str(x), str(y), "mousedown", "1"], check=True)
    yield 0.5
    for step in range(8):
        subprocess.run(["xdotool", "mousemove", str(x - 8 * step), str(y + 6 * step)], check=True)
        yield 0.2
    subprocess.run(["xdotool", "mouseup", "1"], check=True)
    yield 1.0
    picture(folder, "strength-painted")
    press("paint_mask", "EXEC_DEFAULT")
    values = head.data.attributes[masks.COLUMN].data
    less = sum(each.value < 0.5 for each in values)
    print(f"painting made relief weaker at {less} of {len(values)} vertices; mode {head.mode}", flush=True)
    for _ in range(3):  # it begins, a stroke, it ends
        bpy.ops.ed.undo()
        yield 0.5
    yield from cut_plane(folder)


def parts_shown(folder: Path) -> Iterator[float]:
    """A section through the finished head; the head before anything was cut, and after; all forms to show."""
    yield from section_shown(folder)
    for name in ("before", "after"):
        try:
            press("before_after", "EXEC_DEFAULT")
        except RuntimeError as error:  # a demo scene keeps no head from before
            print("before and after refused:", error, flush=True)
            return
        yield 0.7
        picture(folder, f"shown-{name}")


def section_shown(folder: Path) -> Iterator[float]:
    """A section through the middle of the head."""
    wanted = bpy.context.window_manager.canthus_overlays
    wanted.section = True
    yield 0.5
    picture(folder, "section")
    wanted.section = False
    yield 0.5


def on_screen(area: bpy.types.Area, place: object) -> tuple[int, int]:
    """Pixels from the upper left of the screen at which a place of the scene is seen."""
    region = next(each for each in area.regions if each.type == "WINDOW")
    seen = location_3d_to_region_2d(region, area.spaces[0].region_3d, place)
    window, _ = view()
    return round(region.x + seen.x), round(window.height - region.y - seen.y)
