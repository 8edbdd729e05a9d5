"""Drawing over the view with the gpu module: dots, lines, faces and words, in few calls."""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any

import blf
import bpy
import gpu
import numpy as np
from gpu_extras.batch import batch_for_shader
from numpy.typing import NDArray

Colour = tuple[float, float, float, float]
RIM: Colour = (0.05, 0.05, 0.05, 1.0)
_CORNERS = 12
_TEXT = 11


def ui_scale() -> float:
    """Pixels the interface draws for each of its own."""
    return float(bpy.context.preferences.system.ui_scale)


def discs(middles: NDArray[np.float64], radius: float) -> NDArray[np.float64]:
    """(n * 36, 2) corners of the triangles of a disc round each of the (n, 2) middles."""
    turn = 2 * np.pi * np.arange(_CORNERS + 1) / _CORNERS
    rim = radius * np.stack([np.cos(turn), np.sin(turn)], axis=1)
    wedge = np.stack([np.zeros((_CORNERS, 2)), rim[:-1], rim[1:]], axis=1)
    return np.asarray((middles[:, None, None] + wedge).reshape(-1, 2))


def fill(corners: NDArray[np.float64], colour: Colour) -> None:
    """Triangles of one colour, (n * 3, 2) corners in pixels or (n * 3, 3) in the scene."""
    _uniform("TRIS", corners, colour)


def dots(places: NDArray[np.float64], colour: Colour, size: float) -> None:
    """(n, 3) places in the scene as square dots of `size` pixels."""
    gpu.state.point_size_set(size)
    _uniform("POINTS", places, colour)
    gpu.state.point_size_set(1.0)


def segments(ends: NDArray[np.float64], colour: Colour, width: float) -> None:
    """Lines between each two of (2 n, 3) ends."""
    if not len(ends):
        return
    shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    shader.uniform_float("viewportSize", gpu.state.viewport_get()[2:])
    shader.uniform_float("lineWidth", width)
    shader.uniform_float("color", colour)
    _draw("LINES", shader, pos=ends)


def shaded(corners: NDArray[np.float64], colours: NDArray[np.float64], triangles: NDArray[np.int32]) -> None:
    """Triangles between (n, 3) corners, each corner in its own (r, g, b, a)."""
    shader = gpu.shader.from_builtin("SMOOTH_COLOR")
    rows = triangles.ravel()
    _draw("TRIS", shader, pos=corners[rows], color=colours[rows])


def words(text: str, x: float, y: float, colour: Colour = (1, 1, 1, 1), size: int = _TEXT) -> None:
    """A line of text at a place of the view, pixels, with a shadow so that it is read on any ground."""
    blf.size(0, size * ui_scale())
    for shift, tint in ((1.0, (0.0, 0.0, 0.0, 0.9)), (0.0, colour)):
        blf.color(0, *tint)
        blf.position(0, x + shift, y - shift, 0)
        blf.draw(0, text)


def legend(rows: Sequence[tuple[Colour, str]], region: bpy.types.Region, above: float = 0.0) -> None:
    """A swatch and a line for each colour, at the left of the view under the host's own words and `above` pixels."""
    scale = ui_scale()
    left, top = 70 * scale, region.height - (215 + above) * scale
    for number, (colour, text) in enumerate(rows):
        y = top - 18 * scale * number
        fill(discs(np.array([[left, y + 4 * scale]]), 6 * scale), RIM)
        fill(discs(np.array([[left, y + 4 * scale]]), 5 * scale), colour)
        words(text, left + 12 * scale, y)


@contextmanager
def behind() -> Iterator[None]:
    """Draw what lies behind or inside other things too: over them, and seen through."""
    gpu.state.blend_set("ALPHA")
    gpu.state.depth_test_set("NONE")
    try:
        yield
    finally:
        gpu.state.blend_set("NONE")


class Drawn:
    """Draw handlers that are put on together and taken off together. Without a window there is nothing to draw on."""

    def __init__(self, space: str = "SpaceView3D", **what: Callable[[], None]) -> None:
        self._space = space
        self._what = what
        self._handles: list[object] = []

    def register(self) -> None:
        """Begin to draw: `in_scene` in the scene's own space, `over` in pixels above it."""
        if bpy.app.background:
            return
        for name, draw in self._what.items():
            kind = {"in_scene": "POST_VIEW", "over": "POST_PIXEL"}[name]
            self._handles.append(getattr(bpy.types, self._space).draw_handler_add(draw, (), "WINDOW", kind))

    def unregister(self) -> None:
        """End it."""
        while self._handles:
            getattr(bpy.types, self._space).draw_handler_remove(self._handles.pop(), "WINDOW")


def redraw(context: bpy.types.Context) -> None:
    """Have every 3D view drawn again."""
    for window in context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                area.tag_redraw()


def _uniform(kind: str, places: NDArray[np.float64], colour: Colour) -> None:
    if not len(places):
        return
    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    shader.uniform_float("color", colour)
    if places.shape[1] == 2:  # the shader's places have three numbers
        places = np.column_stack([places, np.zeros(len(places))])
    _draw(kind, shader, pos=places)


def _draw(kind: str, shader: gpu.types.GPUShader, **content: NDArray[np.float64]) -> None:
    buffers: dict[str, Any] = {name: np.ascontiguousarray(each, np.float32) for name, each in content.items()}
    batch_for_shader(shader, kind, buffers).draw(shader)
