"""What goes wrong in a capture: noise, strays, clusters, veils, a second skin, lashes, dropouts in dark hair."""

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates

from .views import Seen

Points = NDArray[np.float64]


def noise_along_rays(facing: NDArray[np.float64], level: float, rng: np.random.Generator) -> NDArray[np.float64]:
    """Errors along the ray (mm): `level` where the surface faces the scanner, three times that where it grazes."""
    spread = level * np.minimum(1 + 0.8 * (1 / np.maximum(facing, 0.05) - 1), 4.0)
    return rng.standard_normal(len(facing)) * spread


def strays(low: Points, high: Points, count: int, rng: np.random.Generator, margin: float = 30.0) -> Points:
    """Points anywhere in the box around the head."""
    return rng.uniform(low - margin, high + margin, (count, 3))


def clusters(surface: Points, outwards: Points, count: int, rng: np.random.Generator) -> Points:
    """Small clouds that fly 6 to 60 mm off the skin, 20 to 150 points each."""
    blobs, total = [], 0
    while total < count:
        row = rng.integers(len(surface))
        size = int(min(rng.integers(20, 150), count - total))
        middle = surface[row] + outwards[row] * rng.uniform(6, 60)
        spread = rng.uniform(0.4, 2.2, 3)
        blobs.append(middle + rng.standard_normal((size, 3)) * spread)
        total += size
    return np.concatenate(blobs) if blobs else np.empty((0, 3))


def veils(
    seen: Seen, sensor: Points, pitch: float, count: int, rng: np.random.Generator
) -> tuple[Points, NDArray[np.int64]]:
    """Points strung between a near edge and what lies behind it, on rays of the view; and the rows they lean on."""
    row_of_cell = np.full(seen.shape[0] * seen.shape[1], -1)
    row_of_cell[seen.cells] = np.arange(len(seen.cells))
    # How far apart neighbours lie along the ray where the skin merely slants: that is no edge.
    slant = pitch * seen.distance * np.sqrt(1 / np.maximum(seen.facing, 0.05) ** 2 - 1)
    edges = []
    for step in (1, seen.shape[1]):
        near = seen.cells[seen.cells + step < len(row_of_cell)]
        pair = np.stack([row_of_cell[near], row_of_cell[near + step]], 1)
        pair = pair[pair[:, 1] >= 0]
        jump = np.abs(seen.distance[pair[:, 1]] - seen.distance[pair[:, 0]])
        edges.append(pair[(jump > 3.0) & (jump < 80.0) & (jump > 2.5 * slant[pair].max(axis=1))])
    found = np.concatenate(edges)
    if not len(found) or not count:
        return np.empty((0, 3)), np.empty(0, np.int64)
    chosen = found[rng.integers(len(found), size=count)]
    share = rng.beta(1.0, 1.3, count)[:, None]
    first, second = (sensor + seen.rays[c] * seen.distance[c][:, None] for c in chosen.T)
    return first + share * (second - first) + rng.normal(0, 0.15, (count, 3)), chosen[:, 0]


def misplaced(points: Points, offset: float, towards: Points, rng: np.random.Generator) -> Points:
    """A view rigidly off by about `offset` at its middle, mostly along the line of sight, and a little turned."""
    aside = rng.standard_normal(3)
    way = towards + 0.35 * aside / np.linalg.norm(aside)
    axis = rng.standard_normal(3)
    turn = np.cross(axis / np.linalg.norm(axis) * np.radians(0.08), points - points.mean(axis=0))
    return points + offset * way / np.linalg.norm(way) + turn


def lashes(eyes: dict[str, Any], count: int, rng: np.random.Generator) -> Points:
    """Clumps that stand off both lid edges: 8 to 10 mm long above, 5 to 7 below, as a scanner blurs them.

    Notes
    -----
    Lengths from memory: upper lashes 8 to 12 mm, lower 6 to 8 (textbook values).
    """
    lids = [
        lid for eye in eyes.values() for lid in ((eye, eye.upper_margin, 9.0, 0.75), (eye, eye.lower_margin, 6.0, -0.6))
    ]
    shares = np.cumsum([0.72, 0.28] * (len(lids) // 2)) / (len(lids) // 2 or 1)
    numbers = np.diff(np.rint(count * shares).astype(int), prepend=0)
    grown = []
    for (eye, margin, length, rise), number in zip(lids, numbers, strict=True):
        if number:
            clumps = rng.uniform(0.12, 0.95, max(number // 12, 1))
            at = np.clip(rng.choice(clumps, number) + rng.normal(0, 0.006, number), 0, 1) * (len(margin) - 1)
            root = np.stack([np.interp(at, np.arange(len(margin)), margin[:, k]) for k in range(3)], 1)
            out = root - eye.centre
            out /= np.linalg.norm(out, axis=1, keepdims=True)
            along = rng.beta(1.0, 1.8, number)[:, None] * length
            curl = rise * along**1.6 / length**0.6
            tip = root + out * (eye.lid_thickness + 0.85 * along) + np.array([0, 0, 1.0]) * curl
            grown.append(tip + rng.normal(0, 0.18, (number, 3)))
    return np.concatenate(grown) if grown else np.empty((0, 3))


def patchy(points: Points, size: float, seed: int) -> NDArray[np.float64]:
    """A random field over space in patches of about `size` mm, uniform from 0 to 1 over all places."""
    rng = np.random.default_rng(seed)
    field = gaussian_filter(rng.standard_normal((64, 64, 64)), 1.2, mode="wrap")
    field = (np.argsort(np.argsort(field.ravel())) / field.size).reshape(field.shape)
    return map_coordinates(field, points.T / (size / 2.4), order=1, mode="grid-wrap")


def kept_in_dark(
    points: Points, colours: NDArray[np.uint8], dropout: float, rng: np.random.Generator
) -> NDArray[np.bool_]:
    """Which points survive: light is lost in dark hair, in patches and between them."""
    brightness = colours @ np.array([0.299, 0.587, 0.114]) / 255
    loss = dropout * np.clip(1.25 - brightness / 0.28, 0, 1)
    patches = patchy(points, 14.0, int(rng.integers(2**31)))
    return 0.75 * patches + 0.25 * rng.random(len(points)) >= loss
