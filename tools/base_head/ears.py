"""The ears of the base head: their rows of faces laid on the drawing of the ear, not on the skin."""

import numpy as np
from canthus.geometry.quad_meshes.quads import averaging
from numpy.typing import NDArray

from .curves import EarPlane
from .laying import MIRROR, Laid, harmonic

Points = NDArray[np.float64]


def with_ears(now: Laid) -> Points:
    """The vertices with both ears raised: root, back, edge, and in from there to the bowl."""
    plane = EarPlane()
    vertices = now.vertices.copy()
    ear = np.zeros(len(vertices), bool)
    ear[now.quads[now.labels == "ears"]] = True
    ear &= vertices[:, 0] > 0
    loops = now.loops["ear-left"]
    rows = _rows(plane, loops)
    held = np.union1d(np.flatnonzero(~ear), np.concatenate(list(map(loops.__getitem__, rows))))
    flat = plane.flat(vertices)
    for number, places in rows.items():
        flat[loops[number]] = places
    flat = harmonic(now.quads, len(flat), held, flat[held])
    before = ear & _reached_from(now, loops[4], loops[-1])
    flat[before, 2] = _out(plane, flat[before, :2])
    mean = averaging(now.quads, len(flat))
    inside = ear.copy()
    inside[loops[1]] = False
    for share in (0.5,) * 6:
        flat[inside] += share * (mean @ flat - flat)[inside]
    vertices[ear] = plane.placed(flat[ear, :2], flat[ear, 2])
    other = now.image[np.flatnonzero(ear)]
    vertices[other] = vertices[ear] * MIRROR
    return vertices


def _rows(plane: EarPlane, loops: list[NDArray[np.int64]]) -> dict[int, Points]:
    """For each loop of the left ear its places as backwards, up, out of the plane."""
    count = len(loops[0])
    front = plane.front(count)
    outline = plane.around(count, 0.0)
    away = plane.around(count, 1.0) - outline
    on_head = {
        1: outline + 4.5 * away,
        2: plane.outline(0.62 + 0.38 * front, count) + 2.6 * front[:, None] * away,
    }
    rows = {number: plane.flat(plane.skin_under(places)) for number, places in on_head.items()}
    back = plane.outline(0.84 + 0.16 * front, count) + 1.3 * front[:, None] * away
    rows[3] = np.column_stack([back, _behind(plane, back, front)])
    edge = outline - 0.6 * away
    middle = (_out(plane, edge) + _behind(plane, edge, front)) / 2
    rows[4] = np.column_stack([edge, middle + front * (_out(plane, edge) - middle)])
    inside = outline - (3.4 - 1.4 * front)[:, None] * away
    rows[5] = np.column_stack([inside, _out(plane, inside)])
    bowl = plane.bowl(count)
    rows[6] = np.column_stack([bowl, _out(plane, bowl)])
    return rows


def _out(plane: EarPlane, places: Points) -> NDArray[np.float64]:
    """How far the front of the ear stands out of its plane."""
    return plane.depth("relief", places)


def _behind(plane: EarPlane, places: Points, front: NDArray[np.float64]) -> NDArray[np.float64]:
    """How far its back does, and the skin where it has none."""
    skin = plane.flat(plane.skin_under(places))[:, 2]
    return (1 - front) * np.maximum(plane.depth("back", places), skin + 0.5) + front * skin


def _reached_from(now: Laid, edge: NDArray[np.int64], bowl: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Mask of the vertices on the inner side of the loop `edge`: those reached from `bowl` without crossing it."""
    mean = averaging(now.quads, len(now.vertices))
    reached = np.zeros(len(now.vertices))
    reached[bowl] = 1.0
    while True:
        wider = np.maximum(reached, mean @ reached > 0)
        wider[edge] = 0.0
        if (wider == reached).all():
            return wider > 0
        reached = wider
