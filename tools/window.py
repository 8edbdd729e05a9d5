"""The window of a real Blender as a hand uses it: its sidebar pressed, its view looked at, pictures taken of it."""

import importlib.util
import subprocess
import sys
from collections.abc import Generator, Iterator
from pathlib import Path

import bpy

ADDON = Path(__file__).resolve().parents[1] / "addon"
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


def sidebar_shown(area: bpy.types.Area | None = None) -> Generator[float, None, bpy.types.Region]:
    """Open the sidebar of an area, the 3D view where none is named, at our tab; gives its region."""
    area = area or view()[1]
    area.spaces.active.show_region_ui = True
    yield 1.0
    region = next(each for each in area.regions if each.type == "UI")
    region.active_panel_category = TAB
    return region


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
