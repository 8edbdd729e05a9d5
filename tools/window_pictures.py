"""Drives the window of a real Blender through the job and takes pictures of it; runs inside that Blender.

Run it with a Blender that has a screen, real or virtual:

    blender --factory-startup --python tools/window_pictures.py -- CAPTURE OUT_DIR [NAME ...]

Each NAME is one of the scenes below; all of them by default. Where a .blend with a head is opened the work goes on with
that: the job can be done in two sittings. `straight` among the names: no long step is given
up once before it is let go on. A picture is taken with ImageMagick's `import`.
"""

import json
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import bpy

# Shared virtual screens mount the checkout as /project, and run this file from elsewhere.
sys.path.insert(0, "/project/tools")
sys.path.insert(1, str(Path(__file__).resolve().parent))

from window import enable, picture, play, press, running, sidebar_shown, view
from window_hands import brows_by_hand, eyes_by_hand, landmarks_listed, painted_and_cut, parts_shown
from window_state import begun, escaped, fingerprint


def job(capture: Path, folder: Path, steps: list[str], given_up: bool) -> Iterator[float]:
    """Load, then each step, each long one given up once where asked; a picture after each."""
    enable()
    yield from sidebar_shown()
    yield 0.5
    if not goes_on():
        picture(folder, "00-empty")
        press("load", "EXEC_DEFAULT", filepath=str(capture))
        yield 1.0
        picture(folder, "01-load")
    for number, name in [(2 + DEFAULT.index(name) if name in DEFAULT else 90, name) for name in steps]:
        begun = time.perf_counter()
        try:
            press(name)
        except (RuntimeError, AttributeError) as error:  # not to be pressed now, or not there
            print(name, "refused:", error)
            continue
        if running() and given_up:
            yield from cancelled(folder, name)
            press(name)
        redraws = 0
        while running():
            redraws += 1
            if redraws == 8:
                picture(folder, f"{number:02}-{name}-at-work")
            yield 0.1
        print(f"{name}: {time.perf_counter() - begun:.1f} s", flush=True)
        yield 0.5
        picture(folder, f"{number:02}-{name}")
        yield from AFTER.get(name, nothing)(folder)
    bpy.ops.wm.save_as_mainfile(filepath=str(folder / "last.blend"), copy=True)


def goes_on() -> bool:
    """Whether the open file holds a head, saved in the middle of the job: it is looked at, and the work goes on."""
    from canthus.host.buttons import viewport
    from canthus.host.scene import scene_piece

    found = scene_piece.pieces_in(bpy.context.scene)
    if found:
        viewport.show_piece(bpy.context, found[0])
    return bool(found)


def nothing(folder: Path) -> Iterator[float]:
    """No more pictures."""
    yield from ()


def map_shown(folder: Path) -> Iterator[float]:
    """What the step noted at each vertex, painted on the head, with its legend."""
    from canthus.host.drawn import maps

    for column in maps.columns_of(bpy.context.object):
        press("show_map", "EXEC_DEFAULT", column=column)
        yield 0.5
        picture(folder, f"map-{column}")
    press("show_map", "EXEC_DEFAULT", column="")
    yield 0.5


def redo_shown(folder: Path) -> Iterator[float]:
    """The redo panel of a quick step, unfolded."""
    window, area = view()
    for shown in (True, False):
        with bpy.context.temp_override(window=window, area=area):  # without a window the host crashes here
            area.spaces[0].show_region_hud = shown
        yield 1.0
        if shown:
            for place in FOLD:
                subprocess.run(["xdotool", "mousemove", *map(str, place), "click", "1"], check=True)
                yield 1.0
            picture(folder, "redo")


def findings_shown(folder: Path) -> Iterator[float]:
    """The end of the tab, where the findings are; then the place of the first of them."""
    window, area = view()
    region = next(each for each in area.regions if each.type == "UI")
    with bpy.context.temp_override(window=window, area=area, region=region):
        for _ in range(100):
            bpy.ops.view2d.scroll_down()
    yield 1.0
    picture(folder, "findings")
    facts = json.loads(bpy.context.object.users_collection[0]["canthus"])
    placed = [number for number, each in enumerate(facts["checks"]) if isinstance(each["where"], list)]
    if placed:
        press("look_at_finding", "EXEC_DEFAULT", number=placed[0])
        yield 1.0
        picture(folder, "finding-place")


STRAIGHT = "straight"
"""Among the names: no long step is given up once before it is let go on."""
FOLD = [(77, 888)]
"""Where the folded redo panel lies on a screen of 1600 by 1000, in pixels."""
AFTER = {
    "close": map_shown,
    "landmarks": landmarks_listed,
    "scale": redo_shown,
    "measure": brows_by_hand,
    "place_eyes": eyes_by_hand,
    "make_eyes": painted_and_cut,
    "key": parts_shown,
    "check": findings_shown,
}


def cancelled(folder: Path, name: str) -> Iterator[float]:
    """Press Esc in the middle of the work, as a hand does, and see that nothing has changed, to the last bit."""
    from canthus.host.scene import scene_piece

    before = fingerprint()
    yield from begun()
    if not running():  # it was done before it could be given up
        bpy.ops.ed.undo()
        yield 0.2
        print(f"{name}: done at once; undone: {before == fingerprint()}", flush=True)
        viewport_follows(scene_piece)
        return
    began = time.perf_counter()
    yield from escaped()
    ended = time.perf_counter() - began
    print(f"{name}: Esc ended it after {ended:.2f} s; all as before: {before == fingerprint()}", flush=True)
    yield 0.3
    if name == "close":
        picture(folder, "03-close-cancelled")


def viewport_follows(scene_piece: object) -> None:
    """After an undo the head is another object to the host: make it the active one."""
    collection = scene_piece.pieces_in(bpy.context.scene)[0]
    thing = scene_piece.object_with(collection, "head") or scene_piece.object_with(collection, "scan")
    bpy.context.view_layer.objects.active = thing


def start() -> None:
    """Read the words after `--` and begin."""
    words = sys.argv[sys.argv.index("--") + 1 :] if "--" in sys.argv else ["/out/capture.ply", "/out", *_asked_for()]
    names = [each for each in words[2:] if each != STRAIGHT]
    play(job(Path(words[0]), Path(words[1]), names or DEFAULT, STRAIGHT not in words))


def _asked_for() -> list[str]:
    """Names in /out/names, where no words can be given."""
    asked = Path("/out/names")
    return asked.read_text(encoding="utf-8").split() if asked.exists() else []


DEFAULT = [
    *("cull_strays", "cull_lashes", "merge_layers", "denoise", "close"),
    *("landmarks", "pose", "measure", "scale", "place_eyes", "rebuild_lids", "carve_sockets", "make_eyes"),
    *("brows", "neck", "hollow", "key", "vent", "check"),
]
start()
