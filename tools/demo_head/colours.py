"""Painting the head: skin, lips, hair, brows, sclera, iris, pupil."""

import numpy as np
from numpy.typing import NDArray

from . import face, mouth
from .eyes import EyeForm, opening
from .hair import hairline

REGIONS = ("skin", "lips", "hair", "brow", "sclera", "iris", "pupil", "caruncle")
PAINT = {
    "skin": (214, 168, 142), "lips": (176, 104, 96), "hair": (62, 45, 34), "brow": (84, 62, 48),
    "sclera": (232, 228, 222), "iris": (92, 112, 108), "pupil": (14, 12, 12), "caruncle": (196, 120, 112),
}  # fmt: skip


def coloured(vertices: NDArray[np.float64], eye: EyeForm) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """sRGB colours (n, 3) and regions (n,) as rows of `REGIONS`, for vertices in the sculptor's frame."""
    regions = np.zeros(len(vertices), np.uint8)
    across, forward, up = vertices.T
    upper, lower = mouth.vermilion(across, up)
    regions[((upper + lower) > 0.5) & (forward > 70)] = REGIONS.index("lips")
    regions[(face.brow_hair(across, up)[0] > 0.5) & (forward > 60)] = REGIONS.index("brow")
    regions[hairline(vertices) > 0.8] = REGIONS.index("hair")
    side = vertices.copy()
    side[:, 0] = np.abs(side[:, 0])
    away = side - np.asarray(eye.centre)
    distance = np.linalg.norm(away, axis=1)
    from_axis = np.hypot(away[:, 0], away[:, 2])
    on_globe = np.abs(distance - eye.radius) < 0.12
    on_cornea = np.abs(np.linalg.norm(away - [0, eye.cornea_shift, 0], axis=1) - eye.cornea_radius) < 0.12
    between = (opening(side.astype(np.float32), eye) < 0.35) & (away[:, 1] > 0)
    regions[between & on_globe] = REGIONS.index("sclera")
    regions[between & (on_globe | on_cornea) & (from_axis < 5.81 * eye.radius / 12)] = REGIONS.index("iris")
    regions[between & on_cornea & (from_axis < 2.0)] = REGIONS.index("pupil")
    regions[between & ~on_globe & ~on_cornea & (away[:, 0] < -11)] = REGIONS.index("caruncle")
    palette = np.array([PAINT[name] for name in REGIONS], np.uint8)
    return palette[regions], regions
