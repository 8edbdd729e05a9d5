"""Colours for signed deviation, and their legend as a picture with the histogram of the values over it."""

import numpy as np
from numpy.typing import NDArray

from ..geometry.angles import arc_tangent

INSIDE, MIDDLE, OUTSIDE = (59, 76, 192), (221, 221, 221), (180, 4, 38)
"""Ends and middle of the cool-to-warm map of K. Moreland, Diverging Color Maps for Scientific Visualization, 2009,
doi 10.1007/978-3-642-10520-3_9: told apart by the colour-blind too. sRGB."""

_WHITE = np.array([0.9505, 1.0, 1.089])  # D65
_TO_XYZ = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
"""From linear sRGB (IEC 61966-2-1)."""
_WIDTH, _HEIGHT, _MARGIN, _STRIP = 640, 220, 40, 24


def cool_warm(share: NDArray[np.float64]) -> NDArray[np.uint8]:
    """(n, 3) sRGB colours for shares from -1 (inside, blue) over 0 (light grey) to 1 (outside, red).

    Notes
    -----
    Moreland's way: between each end and the middle in polar CIELAB (Msh), where equal steps look equally far apart; the
    hue of the grey middle turns outward with its saturation, so that no third colour comes between.
    """
    share = np.clip(np.asarray(share, np.float64), -1.0, 1.0)
    found = np.empty((len(share), 3))
    middle = _msh(MIDDLE)[0]
    for end, side in ((INSIDE, share < 0), (OUTSIDE, share >= 0)):
        m, s, h = _msh(end)
        part = np.abs(share[side])[:, None]
        # the middle has no hue of its own; Moreland 2009, "adjust hue": it spins by what M gains on the way
        gain = max(middle**2 - m**2, 0.0)
        spin = s * np.sqrt(gain) / (m * np.sin(s)) if s > 0.05 else 0.0
        hue = h + spin if h > -np.pi / 3 else h - spin
        found[side] = np.concatenate([middle + (m - middle) * part, s * part, hue + (h - hue) * part], axis=1)
    colours: NDArray[np.uint8] = np.rint(255 * _rgb(found)).clip(0, 255).astype(np.uint8)
    return colours


def _msh(colour: tuple[int, int, int]) -> tuple[float, float, float]:
    """Length, angle from the grey axis, and hue of a colour in CIELAB."""
    value = np.array(colour) / 255
    linear = np.where(value <= 0.04045, value / 12.92, ((value + 0.055) / 1.055) ** 2.4)
    x, y, z = _TO_XYZ @ linear / _WHITE
    f = [each ** (1 / 3) if each > 0.008856 else 7.787 * each + 16 / 116 for each in (x, y, z)]
    light, a, b = 116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])
    length = float(np.sqrt(light**2 + a**2 + b**2))
    return length, float(np.arccos(np.clip(light / length, -1, 1))), float(arc_tangent([b], [a])[0])


def _rgb(msh: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 3) sRGB from 0 to 1 of (n, 3) lengths, angles and hues."""
    m, s, h = msh.T
    light, a, b = m * np.cos(s), m * np.sin(s) * np.cos(h), m * np.sin(s) * np.sin(h)
    fy = (light + 16) / 116
    f = np.stack([fy + a / 500, fy, fy - b / 200], axis=1)
    xyz = np.where(f**3 > 0.008856, f**3, (f - 16 / 116) / 7.787) * _WHITE
    linear = (xyz @ np.linalg.inv(_TO_XYZ).T).clip(0, 1)
    rgb: NDArray[np.float64] = np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)
    return rgb


_GLYPHS = {
    "0": "755557", "1": "262227", "2": "717447", "3": "717117", "4": "557111", "5": "747117", "6": "744757",
    "7": "711244", "8": "757557", "9": "757117", "-": "000700", "+": "027200", ".": "000002", "m": "007755",
    " ": "000000",
}  # fmt: skip
"""Three pixels wide and six high, a digit a row: bits from left to right."""


def legend(values: NDArray[np.float64], reach: float, bins: int = 60) -> NDArray[np.uint8]:
    """(h, w, 3) picture: how many values lie where, over a strip of the colours, with millimetres under it.

    Parameters
    ----------
    values : (n,) signed deviations, mm
    reach : millimetres at which the colours are full; what lies beyond counts at the ends
    bins : bars of the histogram
    """
    picture = np.full((_HEIGHT, _WIDTH, 3), 255, np.uint8)
    wide = _WIDTH - 2 * _MARGIN
    counts, _ = histogram(values, reach, bins)
    across = np.arange(wide)
    colours = cool_warm(2 * (across + 0.5) / wide - 1)
    floor = _HEIGHT - 60
    heights = np.rint((floor - 14) * counts / max(counts.max(), 1)).astype(int)[across * bins // wide]
    for column, high in zip(across + _MARGIN, heights, strict=True):
        picture[floor - high : floor, column] = colours[column - _MARGIN]
    picture[floor + 2 : floor + 2 + _STRIP, _MARGIN : _MARGIN + wide] = colours
    for share in (-1.0, -0.5, 0.0, 0.5, 1.0):
        text = f"{share * reach:+.2f}" if share else "0"
        _write(picture, text + (" mm" if share == 1.0 else ""), _MARGIN + int((share + 1) / 2 * wide), floor + 32)
    return picture


def histogram(values: NDArray[np.float64], reach: float, bins: int) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Counts and the (bins + 1,) edges between -reach and reach, mm; values beyond count at the ends."""
    counts, edges = np.histogram(np.clip(values, -reach, reach), bins, (-reach, reach))
    return counts.astype(np.int64), edges


def _write(picture: NDArray[np.uint8], text: str, middle: int, top: int, size: int = 3) -> None:
    """Letters into the picture, centred, kept within it."""
    step = 4 * size
    left = int(np.clip(middle - step * len(text) // 2, 2, picture.shape[1] - step * len(text) - 2))
    for number, letter in enumerate(text):
        rows = np.array([[int(row) >> bit & 1 for bit in (2, 1, 0)] for row in _GLYPHS[letter]], bool)
        mask = np.kron(rows, np.ones((size, size), bool))
        at = left + step * number
        picture[top : top + 6 * size, at : at + 3 * size][mask] = 40
