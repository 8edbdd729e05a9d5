"""What a scene in the window holds, in one word, and Esc pressed on what is at work in it."""

import hashlib
import subprocess
import time
from collections.abc import Iterator

import bpy
import numpy as np
from window import running

_KINDS = {"FLOAT": ("value", np.float32, 1), "INT": ("value", np.int32, 1), "FLOAT_VECTOR": ("vector", np.float32, 3)}


def fingerprint() -> str:
    """All that counts in the scene, in one word: places, vertices, corners, values, records, lines."""
    found = hashlib.sha256()
    for thing in sorted(bpy.data.objects, key=lambda each: each.name):
        found.update(repr((thing.name, thing.hide_viewport, [tuple(row) for row in thing.matrix_basis])).encode())
        if thing.type == "MESH":
            for attribute in sorted(thing.data.attributes, key=lambda each: each.name):
                if attribute.data_type in _KINDS:
                    name, kind, width = _KINDS[attribute.data_type]
                    values = np.empty(width * len(attribute.data), kind)
                    attribute.data.foreach_get(name, values)
                    found.update(attribute.name.encode() + values.tobytes())
        if thing.type == "CURVE":
            found.update(repr([tuple(point.co) for line in thing.data.splines for point in line.points]).encode())
    for each in sorted(bpy.data.collections, key=lambda each: each.name):
        found.update(str(each.get("canthus", "")).encode())
    return found.hexdigest()


def begun() -> Iterator[float]:
    """Wait until the work is under way, five seconds at most."""
    progress = bpy.context.window_manager.canthus
    end = time.perf_counter() + 5
    while running() and progress.fraction == 0 and time.perf_counter() < end:
        yield 0.05
    yield 0.3


def escaped() -> Iterator[float]:
    """Press Esc over the view, and wait until the work has ended."""
    subprocess.run(["xdotool", "mousemove", "500", "500", "key", "Escape"], check=True)
    end = time.perf_counter() + 10
    while running() and time.perf_counter() < end:
        yield 0.02
