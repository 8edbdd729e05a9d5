"""Measures in the window of a real Blender how often it draws while a step runs; runs inside that Blender.

    blender --factory-startup --python tools/window_rate.py -- CAPTURE [SECONDS [STEP [end]]]

Counts for so many seconds each: with the empty scene turned, which is what the machine can draw at all; with the
capture loaded and turned; and while STEP (Close, unless another is named) is at work with the view left alone, with the
sidebar drawn all the while, with the view turned by a script, and dragged round with the mouse as a hand does it. Tells
the longest time the window did not come round, too. With `end` it waits for what the step writes, else it cancels.
"""

import subprocess
import sys
import time
from collections.abc import Callable, Iterator
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


def canvas() -> bpy.types.Region:
    """What the 3D view is drawn in."""
    return next(each for each in view()[1].regions if each.type == "WINDOW")


def measured(what: str, seconds: float, asked: Callable[[], None]) -> Iterator[float]:
    """Count for so long, and say draws a second and the longest time between two rounds of the window's loop."""
    counts.update(panel=0, view=0)
    begun = last = time.perf_counter()
    busy = time.process_time()
    longest = 0.0
    while last - begun < seconds:
        asked()
        yield ROUND
        now = time.perf_counter()
        longest, last = max(longest, now - last - ROUND), now
    for name in ("panel", "view"):
        print(f"{what}: {name} {counts[name] / (last - begun):.1f} a second", flush=True)
    busy = (time.process_time() - busy) / max(1, counts["view"])
    print(f"{what}: {busy:.2f} s of processor a draw of the view; longest wait {longest:.2f} s", flush=True)


def left_alone() -> None:
    """Ask for nothing."""


def sidebar_asked() -> None:
    """Have the sidebar drawn."""
    next(each for each in view()[1].regions if each.type == "UI").tag_redraw()


def turned() -> None:
    """Turn the view a little."""
    view()[1].spaces[0].region_3d.view_rotation.rotate(Euler((0, 0, 0.05)))
    canvas().tag_redraw()


def dragged(what: str, seconds: float) -> Iterator[float]:
    """Count while the mouse, its middle button held down, goes to and fro over the view."""
    x, y = canvas().x + canvas().width // 3, 500
    subprocess.run(["xdotool", "mousemove", str(x), str(y), "mousedown", "2"], check=True)
    yield 0.3
    rounds = "for k in $(seq 400); do xdotool mousemove_relative -- 2 0; sleep 0.03; done"
    hand = subprocess.Popen(["bash", "-c", rounds])
    yield from measured(what, seconds, left_alone)
    hand.kill()
    hand.wait()
    subprocess.run(["xdotool", "mouseup", "2"], check=True)
    yield 0.3


def timed(step: str) -> None:
    """Keep the processor's time of the longest stretch of the operator's own work."""
    operator = getattr(bpy.types, f"CANTHUS_OT_{step}")
    own = operator.goes_on

    def run(self: bpy.types.Operator, context: bpy.types.Context) -> bool:
        begun = time.thread_time()
        try:
            return bool(own(self, context))
        finally:
            counts["stretch"] = max(counts.get("stretch", 0.0), time.thread_time() - begun)

    operator.goes_on = run


def rate(capture: Path, seconds: float, step: str, to_the_end: bool) -> Iterator[float]:
    """Measure, load, measure, press the step, measure, cancel or wait for what it writes."""
    enable()
    yield from sidebar_shown()
    counting()
    timed(step)
    yield 0.5
    yield from measured("empty scene, turned", seconds, turned)
    press("load", "EXEC_DEFAULT", filepath=str(capture))
    yield 2.0
    yield from measured("loaded, turned", seconds, turned)
    begun = time.perf_counter()
    press(step)
    print(f"pressed: the button took {time.perf_counter() - begun:.2f} s", flush=True)
    yield 2.0
    yield from measured("at work, left alone", seconds, left_alone)
    yield from measured("at work, sidebar asked for", seconds, sidebar_asked)
    yield from measured("at work, turned", seconds, turned)
    yield from dragged("at work, dragged round", seconds)
    print(f"still at work: {running()}", flush=True)
    if not to_the_end and running():
        press("stop", "EXEC_DEFAULT")
        yield 1.0
    while running():
        yield 0.1
    print(f"longest stretch of our own work in the window: {counts['stretch']:.2f} s of the processor", flush=True)


def start() -> None:
    """Read the words after `--` and begin."""
    words = sys.argv[sys.argv.index("--") + 1 :] if "--" in sys.argv else _asked_for()
    seconds = float(words[1]) if len(words) > 1 else 5.0
    play(rate(Path(words[0]), seconds, words[2] if len(words) > 2 else "close", "end" in words))


def _asked_for() -> list[str]:
    """The words in /out/words, where none can be given."""
    asked = Path("/out/words")
    return asked.read_text(encoding="utf-8").split() if asked.exists() else ["/out/capture.ply", "5", "close", "end"]


start()
