"""Measures in the window of a real Blender how often it draws while a step runs; runs inside that Blender.

    blender --factory-startup --python tools/window_rate.py -- CAPTURE [SECONDS [end]]

Loads the capture, presses Close and counts for so many seconds each: draws of our panel and of the 3D view with the
view left alone, with the sidebar drawn all the while, and with the view turned all the while, then with hardly a dot of
ours in it; and the longest time the window did not come round. With `end` it waits for what Close writes, else it
cancels.
"""

import sys
import time
from collections.abc import Iterator
from pathlib import Path

import bpy
from mathutils import Euler

# Shared virtual screens mount the checkout as /project, and run this file from elsewhere.
sys.path.insert(0, "/project/tools")
sys.path.insert(1, str(Path(__file__).resolve().parent))

from window import enable, play, press, running, sidebar_shown, view

ROUND = 0.02
"""Seconds after which a turn of the view is asked for again."""
counts: dict[str, float] = {"panel": 0, "view": 0}


def counting() -> None:
    """Count draws of the tab's first panel and of the 3D view."""
    panel = bpy.types.CANTHUS_PT_job
    own = panel.draw

    def drawn(self: bpy.types.Panel, context: bpy.types.Context) -> None:
        counts["panel"] += 1
        own(self, context)

    panel.draw = drawn
    bpy.types.SpaceView3D.draw_handler_add(lambda: counts.update(view=counts["view"] + 1), (), "WINDOW", "POST_PIXEL")


def measured(what: str, seconds: float, asked: str) -> Iterator[float]:
    """Count for so long, and say draws a second and the longest time between two rounds of the window's loop."""
    counts.update(panel=0, view=0)
    canvas = next(each for each in view()[1].regions if each.type == "WINDOW")
    begun = last = time.perf_counter()
    busy = time.process_time()
    longest = 0.0
    while running() and last - begun < seconds:
        if asked == "panel":
            next(each for each in view()[1].regions if each.type == "UI").tag_redraw()
        if asked == "view":
            view()[1].spaces[0].region_3d.view_rotation.rotate(Euler((0, 0, 0.05)))
            canvas.tag_redraw()  # as the host does when a hand turns the view: its sidebar is not drawn anew
        yield ROUND
        now = time.perf_counter()
        longest, last = max(longest, now - last - ROUND), now
    for name in ("panel", "view"):
        count = counts[name]
        print(f"{what}: {name} {count / (last - begun):.1f} a second", flush=True)
    busy = (time.process_time() - busy) / max(1, counts["view"])
    print(f"{what}: {busy:.2f} s of processor a draw of the view; longest wait {longest:.2f} s", flush=True)


def timed() -> None:
    """Keep the processor's time of the longest stretch of the operator's own work."""
    operator = bpy.types.CANTHUS_OT_close
    own = operator.goes_on

    def run(self: bpy.types.Operator, context: bpy.types.Context) -> bool:
        begun = time.thread_time()
        try:
            return bool(own(self, context))
        finally:
            counts["stretch"] = max(counts.get("stretch", 0.0), time.thread_time() - begun)

    operator.goes_on = run


def rate(capture: Path, seconds: float, to_the_end: bool) -> Iterator[float]:
    """Load, press Close, measure, cancel or wait for what it writes."""
    enable()
    yield from sidebar_shown()
    counting()
    timed()
    yield 0.5
    press("load", "EXEC_DEFAULT", filepath=str(capture))
    yield 2.0
    begun = time.perf_counter()
    press("close")
    print(f"pressed: the button took {time.perf_counter() - begun:.2f} s", flush=True)
    yield 2.0
    yield from measured("left alone", seconds, "")
    yield from measured("sidebar asked for", seconds, "panel")
    yield from measured("turned", seconds, "view")
    bpy.context.window_manager.canthus_overlays.points = 1000
    yield from measured("turned, hardly a dot drawn", seconds, "view")
    if not to_the_end:
        press("stop", "EXEC_DEFAULT")
        yield 1.0
    while running():
        yield 0.1
    print(f"longest stretch of our own work in the window: {counts['stretch']:.2f} s of the processor", flush=True)


def start() -> None:
    """Read the words after `--` and begin."""
    words = sys.argv[sys.argv.index("--") + 1 :] if "--" in sys.argv else ["/out/capture.ply", "5", "end"]
    play(rate(Path(words[0]), float(words[1]) if len(words) > 1 else 5.0, "end" in words))


start()
