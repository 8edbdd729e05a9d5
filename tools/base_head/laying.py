"""The plan laid on the form: first roughly by bearing and height, then relaxed on the skin, finer level by level."""

from dataclasses import dataclass

import numpy as np
from canthus.geometry.quad_meshes.quads import averaging, edges_of
from canthus.geometry.quad_meshes.subdivision import refined, refined_line
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.linalg import splu

from . import curves, form
from .layout import COLUMNS, ROWS, Layout
from .symmetry import mirrored, mirrored_finer

LEVELS = 2
MIRROR = np.array([-1.0, 1.0, 1.0])
NECK = -150.0
"""Height of the rim of the neck."""

BEARINGS = np.array([0, 5, 9.5, 18.5, 27.5, 37, 48, 62, 79, 93, 106, 121, 140, 160, 180], dtype=float)
"""Of each column, degrees from the front."""
FRONT = [NECK, -132, -116, -106, -97, -88, -77, -63, -50.4, -42, -34, -27, -21, -3, 7, 17, 26, 36, 53]
SIDE = [NECK, -134, -118, -102, -86, -75, -66, -58, -51, -45, -39, -27, -14, -1, 13, 27, 41, 49, 60]
BACK = [NECK, -135, -120, -105, -90, -76, -63, -51, -40, -30, -20, -10, 0, 10, 20, 31, 43, 55, 67]
"""Height of each row on the midline in front, above the ear, on the midline behind; the last three rows rise over a
middle at `CENTRE` by these angles."""
CENTRE = 40.0
RISING = [34.0, 49.0, 63.0]


@dataclass
class Laid:
    """The plan at the level reached: vertices, faces, mirror images, lines to hold on to, a region a face."""

    vertices: NDArray[np.float64]
    quads: NDArray[np.int64]
    image: NDArray[np.int64]
    loops: dict[str, list[NDArray[np.int64]]]
    lines: dict[str, NDArray[np.int64]]
    labels: NDArray[np.str_]


def laid(layout: Layout) -> tuple[Laid, dict[str, int]]:
    """The plan on the form, still without ears, and the vertex of each landmark."""
    now = Laid(
        _roughly(layout), layout.quads, mirrored(layout), {k: list(v) for k, v in layout.loops.items()},
        {"neck": layout.grid[0], "mouth": layout.patches["mouth"][1]},
        np.array(layout.labels),
    )  # fmt: skip
    now.vertices = relaxed(now, _held(now, _profile(layout)), 60)
    for _ in range(LEVELS):
        now = _finer(now)
        hold = _held(now, _features(now, layout))
        now.vertices = relaxed(now, hold, 60)
    marks = _landmarks_on(now, layout)
    places = form.landmarks()
    hold = {row: places[name] for name, row in marks.items() if not name.startswith("tragion")}
    now.vertices = relaxed(now, _held(now, _features(now, layout) | hold), 30)
    return now, marks


def _roughly(layout: Layout) -> NDArray[np.float64]:
    """Vertices of the tube sent out from the axis onto the skin, the rest the mean of their neighbours."""
    columns = np.arange(COLUMNS)
    side = np.minimum(columns, COLUMNS - columns)
    bearing = np.radians(BEARINGS[side]) * np.where(columns <= COLUMNS // 2, 1, -1)
    share_side = np.interp(BEARINGS[side], [19, 75, 115, 180], [0, 1, 1, 0])
    ahead = (BEARINGS[side] < 95).astype(float)
    starts, ways, rows = [], [], []
    for row in range(ROWS + 1):
        if row < len(FRONT):
            middle = ahead * FRONT[row] + (1 - ahead) * BACK[row]
            heights = share_side * SIDE[row] + (1 - share_side) * middle
            rise = np.zeros(COLUMNS)
        else:
            heights, rise = np.full(COLUMNS, CENTRE), np.full(COLUMNS, np.radians(RISING[row - len(FRONT)]))
        there = layout.grid[row] >= 0
        starts.append(np.column_stack([np.zeros(COLUMNS), np.zeros(COLUMNS), heights])[there])
        way = np.column_stack([np.cos(rise) * np.sin(bearing), -np.cos(rise) * np.cos(bearing), np.sin(rise)])
        ways.append(way[there])
        rows.append(layout.grid[row][there])
    known = np.concatenate(rows)
    places = form.along(np.concatenate(starts), np.concatenate(ways), 135.0)
    return harmonic(layout.quads, layout.count, known, places)


def harmonic(
    quads: NDArray[np.int64], count: int, known: NDArray[np.int64], values: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Values at all vertices: those given, the others the mean of their neighbours."""
    mean = averaging(quads, count)
    held = np.zeros(count, bool)
    held[known] = True
    found = np.zeros((count, values.shape[1]))
    found[known] = values
    free = np.flatnonzero(~held)
    if len(free):
        system = csr_array((np.ones(count), (np.arange(count), np.arange(count))), shape=(count, count)) - mean
        found[free] = splu(system[free][:, free].tocsc()).solve(-(system[free] @ found))
    return found


def _finer(now: Laid) -> Laid:
    count = len(now.vertices)
    level = refined(now.quads, count)
    loops = {name: [refined_line(loop, level, count) for loop in own] for name, own in now.loops.items()}
    lines = {name: refined_line(line, level, count, closed=name == "neck") for name, line in now.lines.items()}
    image = mirrored_finer(now.image, now.quads, level.edges)
    labels = np.repeat(now.labels, 4)
    return Laid(level.matrix @ now.vertices, level.quads, image, loops, lines, labels)


def _profile(layout: Layout) -> "Hold":
    marks = form.landmarks()
    return {int(layout.grid[row, 0]): marks[name] for name, row in MARKED.items()}


Hold = dict[int, NDArray[np.float64]]


MARKED = {"pronasale": 12}
"""Landmarks of the midline and the row of the plan each lies on, column 0."""


def _features(now: Laid, layout: Layout) -> Hold:
    """Vertices that belong on a line or a landmark: lids, lips, the line between these, the profile."""
    hold = _profile(layout)
    eye, mouth = now.loops["eye-left"], now.loops["mouth"]
    _hold(hold, eye[-1], curves.lid_margin(len(eye[-1])))
    nasal = eye[0][7 * len(eye[0]) // 8]
    hold[int(nasal)] = form.along(np.array([[8.0, -40.0, 17.0]]), np.array([[0.0, -1.0, 0.0]]), 90.0)[0]
    plane, ear = curves.EarPlane(), now.loops["ear-left"]
    for loop, off in ((ear[0], 11.0), (ear[1], 4.5)):
        _hold(hold, loop, plane.skin_under(plane.around(len(loop), off)))
    _hold(hold, mouth[1], curves.lip_border(len(mouth[1])))
    _hold(hold, mouth[2], curves.inner_lips(len(mouth[2])))
    _hold(hold, now.lines["mouth"], curves.mouth_line(len(now.lines["mouth"])))
    return hold


def _hold(hold: Hold, rows: NDArray[np.int64], places: NDArray[np.float64]) -> None:
    hold.update(zip(rows.tolist(), places, strict=True))


def _held(now: Laid, hold: Hold) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """The same on both sides, as rows and places."""
    both = {int(now.image[row]): place * MIRROR for row, place in hold.items()} | hold
    rows = np.array(sorted(both), dtype=np.int64)
    return rows, np.array([both[row] for row in rows.tolist()]).reshape(-1, 3)


def relaxed(
    now: Laid, held: tuple[NDArray[np.int64], NDArray[np.float64]], turns: int, share: float = 0.5
) -> NDArray[np.float64]:
    """Each free vertex drawn to its neighbours, the farther the more, and put back on the skin, both sides alike."""
    vertices, (rows, places) = now.vertices.copy(), held
    edges, _, _ = edges_of(now.quads)
    skin, neck = form.skin(), now.lines["neck"]
    vertices[rows] = places
    for turn in range(turns):
        vertices += share * (_drawn_to_neighbours(vertices, edges) - vertices)
        vertices = (vertices + vertices[now.image] * MIRROR) / 2
        vertices = skin.nearly(vertices) if turn < turns - 1 else skin.exactly(vertices)
        vertices[neck, 2] = NECK
        vertices[rows] = places
    return (vertices + vertices[now.image] * MIRROR) / 2


def _drawn_to_neighbours(vertices: NDArray[np.float64], edges: NDArray[np.int64]) -> NDArray[np.float64]:
    """The mean of each vertex's neighbours, weighted by their distance: long edges pull harder, so lengths even out."""
    start, end = edges.T
    length = np.linalg.norm(vertices[start] - vertices[end], axis=1)
    weight = np.bincount(start, length, len(vertices)) + np.bincount(end, length, len(vertices))
    total = [
        np.bincount(start, length * vertices[end, k], len(vertices))
        + np.bincount(end, length * vertices[start, k], len(vertices))
        for k in range(3)
    ]
    return np.stack(total, axis=1) / weight[:, None]


def _landmarks_on(now: Laid, layout: Layout) -> dict[str, int]:
    """The vertex that is each landmark: by its place in the plan where it has one, else the nearest."""
    marks = {name: int(layout.grid[row, 0]) for name, row in MARKED.items()}
    line, eye = now.lines["mouth"], now.loops["eye-left"][-1]
    left = {
        "endocanthion": int(eye[7 * len(eye) // 8]),
        "exocanthion": int(eye[3 * len(eye) // 8]),
        "cheilion": int(line[-1]),
    }
    places = form.landmarks()
    lower, upper = eye[: len(eye) // 4], eye[len(eye) // 2 : 3 * len(eye) // 4]
    everything = np.arange(len(now.vertices))
    for name, among in (
        ("palpebrale-superius", upper), ("palpebrale-inferius", lower), ("orbitale", everything),
        ("tragion", everything),
    ):  # fmt: skip
        away = np.linalg.norm(now.vertices[among] - places[f"{name}-left"], axis=1)
        left[name] = int(among[np.argmin(away)])
    marks["stomion"] = int(line[len(line) // 2])
    middle = np.flatnonzero(now.image == everything)
    for name in ("glabella", "gnathion", "sellion", "subnasale", "vertex"):
        marks[name] = int(middle[np.argmin(np.linalg.norm(now.vertices[middle] - places[name], axis=1))])
    for name, row in left.items():
        marks[f"{name}-left"], marks[f"{name}-right"] = row, int(now.image[row])
    return dict(sorted(marks.items()))
