"""Pictures of every step's settings unfolded in the sidebar of a real Blender; runs inside that Blender.

    blender HEAD.blend --factory-startup --python tools/window_panels.py -- OUT_DIR

HEAD.blend holds a head, so that no button is grayed out for want of one. Labels that are cut and words that are
unclear show here.
"""

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

# Shared virtual screens mount the checkout as /project, and run this file from elsewhere.
sys.path.insert(0, "/project/tools")
sys.path.insert(1, str(Path(__file__).resolve().parent))

import bpy
from window import enable, picture, play, sidebar_shown, view

ROWS = 26
"""Settings that have room in one picture."""


def sheets(steps: list[type]) -> Iterator[list[type]]:
    """The steps in lots that have room in one picture each."""
    lot: list[type] = []
    for step in steps:
        if lot and sum(len(list(each.settings())) + 3 for each in (*lot, step)) > ROWS:
            yield lot
            lot = []
        lot.append(step)
    yield lot


def settings_shown(folder: Path) -> Iterator[float]:
    """A picture of the sidebar for each lot of steps, all of them unfolded, and one of what else there is."""
    enable()
    from canthus.host.buttons import panels
    from canthus.steps.catalogue import all_steps

    region = yield from sidebar_shown()
    panels.FOLDED = False
    for closed in [
        each for each in panels.panel_classes() if {"bl_options", "bl_parent_id"} & vars(each).keys() == {"bl_options"}
    ]:
        here = getattr(bpy.types, closed.__name__)
        bpy.utils.unregister_class(here)
        here.bl_options = set()
        bpy.utils.register_class(here)
    steps_of = panels._steps_of
    for number, lot in enumerate([*sheets(list(all_steps())), []]):
        panels._steps_of = lambda stage, lot=lot: [each for each in steps_of(stage) if each in lot]
        region.tag_redraw()
        yield 1.0
        picture(folder, f"settings-{number:02}")
        left, top = region.x, view()[0].height - region.y - region.height
        crop = f"{region.width}x{region.height}+{left}+{top}"
        path = str(folder / f"settings-{number:02}.png")
        subprocess.run(["convert", path, "-crop", crop, "+repage", path], check=True)


def start() -> None:
    """Read the words after `--` and begin."""
    words = sys.argv[sys.argv.index("--") + 1 :] if "--" in sys.argv else ["/out"]
    play(settings_shown(Path(words[0])))


start()
