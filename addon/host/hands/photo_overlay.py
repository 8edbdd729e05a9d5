"""Marks drawn over a photograph in the image editor: rings where made, crosses where a solved camera sees them."""

import bpy
import numpy as np
from numpy.typing import NDArray

from ..drawn import drawing
from ..scene import photo_images
from ..scene.wording import title

MARK, PUPIL, SEEN, LEFT_OUT = (
    (0.95, 0.7, 0.2, 1.0),
    (0.36, 0.78, 1.0, 1.0),
    (1.0, 1.0, 1.0, 1.0),
    (1.0, 0.35, 0.23, 1.0),
)
ENLARGED = 10
"""Times the way from a mark to where it is seen is drawn longer."""
_RADIUS, _WIDE = 6.0, 1.6  # pixels of the screen at a scale of the interface of 1
_SIDES = 32
_ROOM = 130.0  # pixels a name takes
_ARMS = np.array([[-1.0, 0.0], [1.0, 0.0], [0.0, -1.0], [0.0, 1.0]])


def marks_shown(image: bpy.types.Image) -> list[tuple[str, NDArray[np.float64], NDArray[np.float64] | None, bool]]:
    """Name, place and solved place of each mark in shares of the picture, right and up; and whether it was left out."""
    size = np.array(photo_images.size_of(image), dtype=np.float64)
    solved = image.canthus_photo.focal_found > 0
    shown = []
    for mark in image.canthus_photo.marks:
        place, seen = (np.array(each) / size for each in (mark.place, mark.seen))
        place[1], seen[1] = 1 - place[1], 1 - seen[1]
        shown.append((mark.name, place, seen if mark.is_seen else None, solved and not mark.is_seen))
    return shown


def draw() -> None:
    """Draw them over the image at hand."""
    context = bpy.context
    image = context.space_data.image
    if image is None or not context.space_data.overlay.show_overlays or not all(photo_images.size_of(image)):
        return
    scale = drawing.ui_scale()
    shown = marks_shown(image)
    places = np.array([_on_screen(place) for _, place, _, _ in shown]).reshape(-1, 2)
    for number, (name, place, seen, left_out) in enumerate(shown):
        middle = places[number]
        colour = LEFT_OUT if left_out else PUPIL if name.endswith("-pupil") else MARK
        if seen is not None:
            other, far = _on_screen(seen), _on_screen(place + ENLARGED * (seen - place))
            _lines(np.array([middle, far]), LEFT_OUT, _WIDE * scale)
            _lines(other + 0.7 * _RADIUS * scale * _ARMS, SEEN, scale)
        for wide, ink in ((_WIDE + 1.4, drawing.RIM), (_WIDE, colour)):
            drawing.fill(ring(middle, (_RADIUS - wide / 2) * scale, (_RADIUS + wide / 2) * scale), ink)
        if left_out or _has_room(number, places, _ROOM * scale):
            drawing.words(title(name), middle[0] + 9 * scale, middle[1] - 4 * scale, colour)
    if image.canthus_photo.focal_found > 0:
        _legend(scale, image)


def _on_screen(place: NDArray[np.float64]) -> NDArray[np.float64]:
    """(2,) pixels of the editor's region of a place given in shares of the picture."""
    return np.array(bpy.context.region.view2d.view_to_region(*place, clip=False), dtype=np.float64)


def _has_room(number: int, places: NDArray[np.float64], room: float) -> bool:
    """Whether a name fits beside a mark: names on top of each other cannot be read. Closer up, more of them fit."""
    away = places - places[number]
    beside = (away[:, 0] > -0.3 * room) & (away[:, 0] < room) & (np.abs(away[:, 1]) < 0.15 * room)
    return int(beside.sum()) == 1  # itself


def ring(middle: NDArray[np.float64], inner: float, outer: float) -> NDArray[np.float64]:
    """(6 k, 2) corners of the triangles of a ring between two radii."""
    turn = 2 * np.pi * np.arange(_SIDES + 1) / _SIDES
    way = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    near, far = inner * way, outer * way
    corners = np.stack([near[:-1], far[:-1], far[1:], near[:-1], far[1:], near[1:]], axis=1)
    return np.asarray(middle + corners.reshape(-1, 2))


def _legend(scale: float, image: bpy.types.Image) -> None:
    """What the signs mean, at the lower left."""
    lines = [
        (f"Reprojection {image.canthus_photo.rms:.2f} px RMS", SEEN),
        (f"Line: the miss, {ENLARGED} times", LEFT_OUT),
        ("Cross: seen by the solved camera", SEEN),
        ("Ring: marked", MARK),
    ]
    for number, (text, colour) in enumerate(lines):
        drawing.words(text, 16 * scale, (16 + 17 * number) * scale, colour, 12)


def _lines(ends: NDArray[np.float64], colour: drawing.Colour, wide: float) -> None:
    """Lines between each two of (2 k, 2) pixels."""
    drawing.segments(np.column_stack([ends, np.zeros(len(ends))]), colour, wide)


DRAWN = drawing.Drawn("SpaceImageEditor", over=draw)
