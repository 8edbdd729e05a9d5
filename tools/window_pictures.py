"""Drives the window of a real Blender through the job and takes pictures of it; runs inside that Blender.

Run it with a Blender that has a screen, real or virtual:

    blender --factory-startup --python tools/window_pictures.py -- CAPTURE OUT_DIR [NAME ...]

Each NAME is one of the scenes below; all of them by default. A picture is taken with ImageMagick's `import`.
"""

import importlib.util
import json
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import bpy

_PROJECT = Path("/project")  # where shared virtual screens mount the checkout
ADDON = (_PROJECT if _PROJECT.exists() else Path(__file__).resolve().parents[1]) / "addon"
TAB = "Canthus"


def enable() -> None:
    """Register the extension from the checkout, as the host does from an installed one."""
    spec = importlib.util.spec_from_file_location("canthus", ADDON / "__init__.py")
    package = importlib.util.module_from_spec(spec)
    sys.modules["canthus"] = package
    spec.loader.exec_module(package)
    package.register()


def view() -> tuple[bpy.types.Window, bpy.types.Area]:
    """The window and its 3D view."""
    window = bpy.context.window_manager.windows[0]
    return window, next(area for area in window.screen.areas if area.type == "VIEW_3D")


def press(name: str, how: str = "INVOKE_DEFAULT", **settings: object) -> None:
    """Press a button as a hand does: from the sidebar's own region, with a window."""
    window, area = view()
    region = next(each for each in area.regions if each.type == "WINDOW")
    with bpy.context.temp_override(window=window, area=area, region=region):
        getattr(bpy.ops.canthus, name)(how, True, **settings)  # True: with an undo step, as from a button


def picture(folder: Path, name: str) -> None:
    """Draw the window and save what is on the screen."""
    window, _ = view()
    with bpy.context.temp_override(window=window):
        bpy.ops.wm.redraw_timer(type="DRAW_WIN_SWAP", iterations=2)
    subprocess.run(["import", "-window", "root", str(folder / f"{name}.png")], check=True)


def running() -> bool:
    """Whether a step is at work in the child process."""
    return bool(bpy.context.window_manager.canthus.running)


def play(script: Iterator[float]) -> None:
    """Go on with the script whenever it asks for it: it yields the seconds it wants to wait."""

    def step() -> float | None:
        try:
            return next(script)
        except StopIteration:
            bpy.ops.wm.quit_blender()
        except BaseException:
            bpy.app.timers.register(bpy.ops.wm.quit_blender, first_interval=0.2)
            raise
        return None

    bpy.app.timers.register(step, first_interval=1.0)


def job(capture: Path, folder: Path, steps: list[str]) -> Iterator[float]:
    """Load, then each step; a picture after each."""
    enable()
    _, area = view()
    area.spaces[0].show_region_ui = True
    yield 1.0
    region = next(each for each in area.regions if each.type == "UI")
    region.active_panel_category = TAB
    yield 0.5
    picture(folder, "00-empty")
    press("load", "EXEC_DEFAULT", filepath=str(capture))
    yield 1.0
    picture(folder, "01-load")
    for number, name in enumerate(steps, start=2):
        begun = time.perf_counter()
        try:
            press(name)
        except (RuntimeError, AttributeError) as error:  # not to be pressed now, or not there
            print(name, "refused:", error)
            continue
        if name == "close":
            yield from cancelled(folder)
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


def nothing(folder: Path) -> Iterator[float]:
    """No more pictures."""
    yield from ()


def map_shown(folder: Path) -> Iterator[float]:
    """What the step noted at each vertex, painted on the head, with its legend."""
    from canthus.host import maps

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


FOLD = [(77, 888)]
"""Where the folded redo panel lies on a screen of 1600 by 1000, in pixels."""
AFTER = {"close": map_shown, "scale": redo_shown, "check": findings_shown}


def cancelled(folder: Path) -> Iterator[float]:
    """Press Esc in the middle of the work, as a hand does, and see that nothing has changed."""
    before = {thing.name for thing in bpy.data.objects}
    yield 2.0
    subprocess.run(["xdotool", "mousemove", "500", "500", "key", "Escape"], check=True)
    begun = time.perf_counter()
    while running() and time.perf_counter() - begun < 10:
        yield 0.05
    print(f"Esc: ended after {time.perf_counter() - begun:.2f} s, running {running()}", flush=True)
    print("Esc: the scene is as before:", before == {thing.name for thing in bpy.data.objects}, flush=True)
    yield 0.5
    picture(folder, "03-close-cancelled")


def start() -> None:
    """Read the words after `--` and begin."""
    words = sys.argv[sys.argv.index("--") + 1 :] if "--" in sys.argv else ["/out/capture.ply", "/out"]
    play(job(Path(words[0]), Path(words[1]), words[2:] or DEFAULT))


DEFAULT = [
    *("cull_strays", "cull_lashes", "merge_layers", "denoise", "close"),
    *("landmarks", "pose", "measure", "scale", "place_eyes", "rebuild_lids", "carve_sockets", "make_eyes"),
    *("neck", "hollow", "key", "vent", "check"),
]
start()
