"""The ears: a relief drawn on the ear's own plane, given thickness, and set on the head at its natural slant."""

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, map_coordinates
from scipy.spatial import cKDTree

from .shapes import Field, Points, bump, curve, step, union, within, without

# Drawn in the ear's plane in mm from the tragion: (backwards, up the long axis of the ear).
OUTLINE = [(1.5, 6), (-0.5, 13), (1.5, 21.5), (7.5, 28), (15.5, 30.2), (24.5, 28), (31, 21.5), (33.6, 12.5), (32.6, 3),
           (29.2, -6), (24.8, -14), (20.6, -20.5), (16.5, -26.5), (11, -31), (5.2, -31.8), (1.4, -28), (0, -21),
           (-0.6, -13), (-2.5, -6), (-1, 0)]  # fmt: skip
HELIX = [(12, 0.5), (7.5, 2.6), (3.2, 6.5), (2.3, 13), (4, 20.4), (9, 25.6), (15.8, 27.4), (23.4, 25.4), (28.8, 19.8),
         (31, 12), (30, 3.4), (26.8, -5), (23, -12), (20, -18)]  # fmt: skip
ANTIHELIX = [(17.5, 20.5), (20.8, 15.5), (22.6, 9), (22.4, 2), (20, -5), (16, -10.6), (11.5, -13)]
LOWER_CRUS = [(21.6, 12), (16.5, 13), (10.5, 12.8), (5.5, 13.5)]
SLANT, TILT, SPREAD = 27.0, 14.0, 4.0
"""Degrees the ear stands off the head, leans back, and opens upwards."""
THICKNESS = 3.2
STEP = 0.25
LOW, HIGH = np.array([-9.0, -40.0]), np.array([42.0, 39.0])


@dataclass(frozen=True, eq=False)
class Drawing:
    """Images over the ear's plane: relief (mm outwards), its back, its slope factor, distance inside the outline."""

    relief: NDArray[np.float32]
    back: NDArray[np.float32]
    slope: NDArray[np.float32]
    edge: NDArray[np.float32]
    bowl: NDArray[np.float32]


def _along(places: NDArray, knots: list[tuple[float, float]]) -> tuple[NDArray, NDArray]:
    """Distance of each place to a drawn stroke, and how far along the stroke it is nearest (0 to 1)."""
    stroke = curve(knots, 400)
    distance, row = cKDTree(stroke).query(places)
    return distance, row / (len(stroke) - 1)


@cache
def _drawing() -> Drawing:
    a, b = np.meshgrid(*(np.arange(low, high, STEP) for low, high in zip(LOW, HIGH, strict=True)), indexing="ij")
    places = np.stack([a.ravel(), b.ravel()], 1)
    outline = curve(OUTLINE, 800, closed=True)
    edge = cKDTree(outline).query(places)[0] * np.where(_inside(places, outline), -1.0, 1.0)
    helix, along = _along(places, HELIX)
    fold, along_fold = _along(places, ANTIHELIX)
    crus, along_crus = _along(places, LOWER_CRUS)
    a, b = places.T
    rim = 4.8 * bump(helix, 2.1) * step(along, -0.05, 0.16) * step(along, 1.04, 0.78)
    scapha = -2.0 * bump(helix - 5.6, 2.0) * step(along, 0.3, 0.45) * step(along, 1.0, 0.8) * step(-edge, 3.5, 6.5)
    ridge = 4.2 * bump(fold, 2.7) * step(along_fold, -0.1, 0.2)
    lower = 2.6 * bump(crus, 2.3) * step(along_crus, 1.1, 0.5)
    fossa = -1.2 * bump(np.hypot(a - 11.5, b - 18.5), 3.6)
    bowl_place = np.hypot((a - 10.5 - 0.12 * b) / 10.0, (b + 2.5) / 10.5)
    bowl = -8.5 * step(bowl_place, 1.12, 0.45)
    cymba = -3.0 * bump(np.hypot((a - 13) / 1.5, b - 7.5), 3.0)
    tragus = 5.2 * bump(np.hypot((a + 0.3) / 0.8, (b + 5.2) / 1.25), 2.9)
    antitragus = 3.0 * bump(np.hypot((a - 10.8) / 1.3, b + 13.6), 2.3)
    notch = -2.4 * bump(np.hypot(a - 4.6, (b + 12.2) / 1.2), 2.2)
    lobe = 1.6 * bump(np.hypot(a - 9, (b + 23) / 1.1), 5.0)
    dish = 2.2 * step(a, 20, 34) - 0.6 * step(a, 6, 0)
    relief = rim + scapha + ridge + lower + fossa + bowl + cymba + tragus + antitragus + notch + lobe + dish
    shape = (int(np.ceil((HIGH[0] - LOW[0]) / STEP)), -1)
    relief = gaussian_filter(relief.reshape(shape), 0.75 / STEP)
    slope = np.sqrt(1 + sum(g**2 for g in np.gradient(relief, STEP)))
    back = np.minimum(relief, gaussian_filter(relief, 2.2 / STEP)) - THICKNESS
    back = back - 5.0 * step(bowl_place, 1.35, 0.9).reshape(shape)  # the bowl is backed by the head
    back = gaussian_filter(back, 1.0 / STEP)
    images = (relief, back, slope, edge.reshape(shape), (bowl_place.reshape(shape) - 1.12) * 10)
    return Drawing(*(image.astype(np.float32) for image in images))


def _inside(places: NDArray, outline: NDArray) -> NDArray[np.bool_]:
    """Whether each place lies within the closed line (crossings counted)."""
    start, end = outline, np.roll(outline, -1, axis=0)
    inside = np.zeros(len(places), bool)
    for (ax, ay), (bx, by) in zip(start, end, strict=True):
        if ay == by:
            continue
        between = (places[:, 1] < ay) != (places[:, 1] < by)
        inside ^= between & (places[:, 0] < ax + (bx - ax) * (places[:, 1] - ay) / (by - ay))
    return inside


@cache
def _frame() -> tuple[NDArray, NDArray]:
    """Where the left ear's drawing lies: origin, and rows backwards, up, outwards."""
    slant, tilt, spread = np.radians([SLANT, TILT, SPREAD])
    back = np.array([np.sin(slant), -np.cos(slant), 0])
    up = np.array([np.sin(spread), -np.sin(tilt), np.cos(tilt)])
    up -= back * (up @ back)
    up /= np.linalg.norm(up)
    out = np.cross(up, back)
    return np.array([68.6, 0.0, 0.0]), np.stack([back, up, out if out[0] > 0 else -out])


def set_on(skin: Field, points: Points) -> Field:
    """`skin` with both ears."""
    side = points.copy()
    side[:, 0] = np.abs(side[:, 0])
    near = np.flatnonzero(np.linalg.norm((side - [76, -14, 0]) / [1.0, 1.05, 1.3], axis=1) < 34)
    if not len(near):
        return skin
    skin = skin.copy()
    skin[near] = _ear_region(skin[near], side[near])
    return skin


def _ear_region(skin: Field, points: Points) -> Field:
    origin, axes = _frame()
    a, b, out = ((points - origin.astype(np.float32)) @ axes.T.astype(np.float32)).T
    drawing = _drawing()
    at = np.stack([(a - LOW[0]) / STEP, (b - LOW[1]) / STEP])
    relief, behind, slope, edge, bowl = (
        map_coordinates(image, at, order=1, mode="nearest")
        for image in (drawing.relief, drawing.back, drawing.slope, drawing.edge, drawing.bowl)
    )
    front = (out - relief) / slope
    back = behind - out
    shell = within(within(front, back, 1.5), edge, 4.5)
    # Behind, the ear grows out of the head; in front of it the bowl sinks below the skin around.
    form = union(skin, shell, (1.5 + 3.0 * step(out - relief, -1, -4)).astype(np.float32))
    hollow = np.maximum(-front, bowl)
    return without(form, hollow.astype(np.float32), 1.0)


def on_ear(vertices: NDArray) -> NDArray[np.bool_]:
    """Which vertices (sculptor's frame) belong to the ears' shells."""
    side = vertices.astype(np.float32)
    side[:, 0] = np.abs(side[:, 0])
    origin, axes = _frame()
    a, b, out = ((side - origin.astype(np.float32)) @ axes.T.astype(np.float32)).T
    at = np.stack([(a - LOW[0]) / STEP, (b - LOW[1]) / STEP])
    drawing = _drawing()
    edge, back = (map_coordinates(image, at, order=1, mode="nearest") for image in (drawing.edge, drawing.back))
    return (edge < 0.7) & (out > np.maximum(back - 1.0, -3.0)) & (out < 14)
