"""Painting the head: skin with its warmer and cooler parts, lips, hair, brows, and the eyes."""

import numpy as np
from numpy.typing import NDArray

from . import ears, face, hair, mouth
from .eyes import EyeForm, opening
from .shapes import bump, step

REGIONS = ("skin", "lips", "hair", "brow", "sclera", "iris", "pupil", "caruncle")
SKIN, WARM, COOL, PALE = (216, 171, 146), (206, 132, 112), (188, 152, 136), (228, 188, 164)
LIPS, HAIR, HAIR_LIGHT, BROW = (178, 112, 102), (52, 37, 28), (104, 76, 54), (78, 57, 44)
SCLERA, SCLERA_CORNER, IRIS, IRIS_RING, PUPIL, CARUNCLE = (
    (233, 229, 222), (214, 176, 166), (108, 130, 124), (52, 68, 70), (14, 12, 12), (200, 128, 118),
)  # fmt: skip
PUPIL_RADIUS = 2.0
"""Indoor portrait: a pupil of 3.5 to 4.5 mm (from memory)."""

Paint = NDArray[np.float64]


def coloured(
    vertices: NDArray[np.float64], eye: EyeForm, haired: bool = True
) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """SRGB colours (n, 3) and regions (n,) as rows of `REGIONS`, for vertices in the sculptor's frame."""
    paint = np.tile(np.array(SKIN, float), (len(vertices), 1))
    regions = np.zeros(len(vertices), np.uint8)
    _paint_skin(paint, vertices)
    _paint_lips(paint, regions, vertices)
    _paint_brows(paint, regions, vertices)
    if haired:
        _paint_hair(paint, regions, vertices)
    _paint_eyes(paint, regions, vertices, eye)
    grain = np.random.default_rng(7).normal(0, 1.6, (len(vertices), 1))
    return np.clip(np.rint(paint + grain), 0, 255).astype(np.uint8), regions


def _over(paint: Paint, colour: tuple[int, int, int], cover: NDArray[np.floating]) -> None:
    """Lay a colour over what is there, `cover` from 0 to 1."""
    paint += np.clip(cover, 0, 1)[:, None] * (np.array(colour, float) - paint)


def _paint_skin(paint: Paint, vertices: NDArray) -> None:
    across, forward, up = vertices.T
    side = np.abs(across)
    front = step(forward, 45, 70)
    cheek = bump(side - 38, 12) * bump(up + 12, 12)
    nose = bump(side, 13) * bump(up + 20, 8) * step(forward, 95, 108)
    ear = step(side, 70, 74) * bump(forward + 14, 26) * bump(up, 30)
    beard = (bump(up + 72, 20) * step(up, -30, -42) * step(forward, 20, 55)) * step(side, 62, 45)
    socket = bump(side - 27, 14) * bump(up - 8, 4.5) + 0.7 * bump(side - 20, 6) * bump(up - 21, 5)
    brow = bump(side, 45) * bump(up - 62, 15)
    _over(paint, PALE, 0.55 * brow * front)
    _over(paint, COOL, 0.45 * beard)
    _over(paint, COOL, 0.40 * socket * front)
    _over(paint, WARM, 0.38 * cheek * front + 0.40 * nose + 0.40 * ear)


def _paint_lips(paint: Paint, regions: NDArray[np.uint8], vertices: NDArray) -> None:
    across, forward, up = vertices.T
    red = sum(mouth.vermilion(across, up)) * (forward > 70)
    _over(paint, LIPS, 0.85 * red)
    regions[red > 0.5] = REGIONS.index("lips")
    _over(paint, (96, 52, 48), 0.55 * bump(up - mouth.line_level(across), 0.7) * (np.abs(across) < 25) * (forward > 70))


def _paint_brows(paint: Paint, regions: NDArray[np.uint8], vertices: NDArray) -> None:
    across, forward, up = vertices.T
    dense, strokes = face.brow_hair(across, up)
    dense = dense * (forward > 60)
    _over(paint, BROW, dense * (0.62 + 0.3 * strokes))
    regions[dense > 0.5] = REGIONS.index("brow")


def _paint_hair(paint: Paint, regions: NDArray[np.uint8], vertices: NDArray) -> None:
    inside = hair.hairline(vertices)
    lift = hair.relief(vertices.astype(np.float32))
    cover = step(inside + 1.6 * lift - 1.2, -1.8, 2.6) * ~ears.on_ear(vertices)
    _over(paint, HAIR, cover)
    _over(paint, HAIR_LIGHT, 0.75 * cover * step(lift, 0.9, 3.4))
    regions[cover > 0.5] = REGIONS.index("hair")


def _paint_eyes(paint: Paint, regions: NDArray[np.uint8], vertices: NDArray, eye: EyeForm) -> None:
    side = vertices.copy()
    side[:, 0] = np.abs(side[:, 0])
    near = np.flatnonzero(np.linalg.norm(side - eye.centre, axis=1) < 22)
    away = side[near] - eye.centre
    between = (opening(side[near].astype(np.float32), eye) < 0.35) & (away[:, 1] > 0)
    on_globe = np.abs(np.linalg.norm(away, axis=1) - eye.radius) < 0.14
    on_cornea = np.abs(np.linalg.norm(away - [0, eye.cornea_shift, 0], axis=1) - eye.cornea_radius) < 0.14
    from_axis = np.hypot(away[:, 0], away[:, 2])
    limbus = eye.limbus_radius
    iris = between & (on_globe | on_cornea) & (from_axis < limbus + 0.1)
    sclera = between & on_globe & ~iris
    inner = between & ~on_globe & ~on_cornea & (away[:, 0] < -8)
    patch = paint[near]
    # The roots of the lashes darken the outer edge of both lids.
    gap = opening(side[near].astype(np.float32), eye)
    edge = bump(gap - 0.9, 0.7) * step(np.linalg.norm(away, axis=1) - eye.radius, 0.9, 1.7) * (away[:, 0] > -10)
    _over(patch, BROW, edge * np.where(away[:, 2] > 0, 0.85, 0.35))
    _over(patch, SCLERA, (sclera | iris).astype(float))
    _over(patch, SCLERA_CORNER, 0.7 * sclera * step(np.abs(away[:, 0]), 6.5, 11))
    _over(patch, CARUNCLE, inner.astype(float))
    spokes = 0.5 + 0.5 * np.sin(np.arctan2(away[:, 2], away[:, 0]) * 34 + 2 * np.sin(from_axis * 3))
    _over(patch, IRIS, iris * step(from_axis, limbus + 0.1, limbus - 0.45))
    ring = step(from_axis, limbus - 1.2, limbus - 0.4) * step(from_axis, limbus + 0.1, limbus - 0.4)
    _over(patch, IRIS_RING, iris * (0.25 * spokes * step(from_axis, limbus, limbus - 0.5) + 0.8 * ring))
    pupil = iris * step(from_axis, PUPIL_RADIUS + 0.25, PUPIL_RADIUS - 0.25)
    _over(patch, PUPIL, pupil)
    paint[near] = patch
    for name, where in {"sclera": sclera, "caruncle": inner, "iris": iris, "pupil": pupil > 0.5}.items():
        regions[near[where]] = REGIONS.index(name)
