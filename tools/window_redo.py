"""Times the redo panel in the window of a real Blender: each quick step undone and done again as the panel does it.

    blender [HEAD.blend] --factory-startup --python tools/window_redo.py -- CAPTURE

Loads the capture, closes it, looks for landmarks, unless a file with a head is open, and presses each quick step;
then has the host repeat it as it does when a setting of the panel is changed, and waits for the view to be drawn.
"""

import sys
import time
from collections.abc import Iterator
from pathlib import Path

# Shared virtual screens mount the checkout as /project, and run this file from elsewhere.
sys.path.insert(0, "/project/tools")
sys.path.insert(1, str(Path(__file__).resolve().parent))

import bpy
from window import enable, play, press, running, sidebar_shown, view

QUICK = ("smooth", "pose", "measure", "scale")
TIMES = 3


def redone() -> tuple[float, float]:
    """Seconds until the host had repeated the last operator, and until the window was drawn after it."""
    window, area = view()
    region = next(each for each in area.regions if each.type == "WINDOW")
    began = time.perf_counter()
    with bpy.context.temp_override(window=window, area=area, region=region):
        bpy.ops.ed.undo_redo()
        answered = time.perf_counter() - began
        bpy.ops.wm.redraw_timer(type="DRAW_WIN_SWAP", iterations=1)
    return answered, time.perf_counter() - began


def timed(capture: Path) -> Iterator[float]:
    """The steps up to the quick ones, then each of them."""
    enable()
    yield from sidebar_shown()
    from canthus.host.buttons import viewport
    from canthus.host.scene import scene_piece

    found = scene_piece.pieces_in(bpy.context.scene)
    if found:
        viewport.show_piece(bpy.context, found[0])
    else:
        press("load", "EXEC_DEFAULT", filepath=str(capture))
    for name in () if found else ("close", "landmarks"):
        yield 0.5
        press(name)
        while running():
            yield 0.2
    for name in QUICK:
        yield 0.5
        press(name)
        while running():  # what cannot be quick on this head goes beside the window
            yield 0.1
        yield 0.5
        both = [redone() for _ in range(TIMES)]
        answered, drawn = (min(each) for each in zip(*both, strict=True))
        print(f"{name}: redone in {answered:.2f} s, drawn after {drawn:.2f} s", flush=True)
        yield 0.5


def start() -> None:
    """Read the words after `--` and begin."""
    words = sys.argv[sys.argv.index("--") + 1 :] if "--" in sys.argv else ["/out/capture.ply"]
    play(timed(Path(words[0])))


start()
