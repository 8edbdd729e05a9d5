"""The relief of skin in millimetres at life size: pores, fine lines, the grain of lips, stubble, or a height image.

Depths are negative inwards. Every form has one depth and one width, the full width at half its depth.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import map_coordinates
from scipy.spatial import cKDTree

from ...geometry.measures import triangle_areas
from ...geometry.mesh import Mesh
from ...geometry.neighbours import tree_order

_SHARP = 4 * np.log(2)  # a bell exp(-_SHARP (r / width)^2) is a half at half its width


@dataclass(frozen=True)
class Form:
    """One kind of relief: its `depth` (mm, upwards where it is raised), `width` (mm), and how close: `density` a square
    centimetre for pores and stubble, or `spacing` (mm) between lines.
    """

    depth: float
    width: float
    density: float = 0.0
    spacing: float = 0.0

    def enlarged(self, factor: float) -> "Form":
        """The form so many times as large and as far apart."""
        return Form(self.depth * factor, self.width * factor, self.density / factor**2, self.spacing * factor)


PORE = Form(-0.05, 0.25, density=30.0)
"""Width: pores are counted as visible from 0.25 mm (Flament 2015, doi 10.2147/CCID.S74401); depth and density: common
practice, no source."""
LINE = Form(-0.06, 0.20, spacing=1.6)
"""Depth within 0.02 to 0.2 mm of fine lines (Bibb, Medical Modelling, 6.17.3); width and spacing: common practice, no
source."""
GRAIN = Form(-0.10, 0.35, spacing=1.2)
"""The upright furrows of the lips: common practice, no source."""
STUBBLE = Form(0.10, 0.15, density=40.0)
"""Height and number of a day's growth: common practice, no source; a hair is 0.06 to 0.08 mm thick (Wolfram 2003)."""

_TRIES = 8  # places tried for one pore before it is left out

PORES_BY_REGION = {"nose": 1.6, "forehead": 1.2, "face": 0.8, "chin": 1.0, "neck": 0.3, "orbit": 0.3, "lids": 0.0}
"""Share of the density in each region: more on nose and forehead (Flament 2015); the figures: common practice."""


def scattered(
    mesh: Mesh, form: Form, share: NDArray[np.float64], seed: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Pores or stubble: places on the surface and the relief they make.

    Parameters
    ----------
    mesh : the surface, life size
    form : its density is that where `share` is 1
    share : (n,) of the density at each vertex
    seed : the same seed gives the same places

    Returns
    -------
    (k, 3) places, no two nearer than 1.6 widths, and (n,) relief. Where the places do not fit there are fewer.
    """
    per_triangle = triangle_areas(mesh) / 100 * form.density * share[mesh.triangles].mean(axis=1)
    wanted = round(float(per_triangle.sum()))
    if not wanted:
        return np.zeros((0, 3)), np.zeros(len(mesh.vertices))
    rng = np.random.default_rng(seed)
    # the skin in as many pieces as there are to be, each with its share, so that no region gets more by chance
    order = tree_order(mesh.corners.mean(axis=1))
    ends = np.cumsum(per_triangle[order])
    at = (np.repeat(rng.permutation(wanted), _TRIES) + rng.random(_TRIES * wanted)) * (ends[-1] / wanted)
    chosen = order[np.searchsorted(ends, at, side="right").clip(max=len(order) - 1)]
    candidates = np.einsum("nc,ncx->nx", rng.dirichlet((1.0, 1.0, 1.0), len(chosen)), mesh.corners[chosen])
    blocked, kept = np.zeros(len(chosen), bool), []
    near = cKDTree(candidates).query_ball_point(candidates, 1.6 * form.width, workers=-1)
    for piece in range(wanted):
        free = np.flatnonzero(~blocked[piece * _TRIES : (piece + 1) * _TRIES])
        if len(free):
            kept.append(piece * _TRIES + int(free[0]))
            blocked[near[kept[-1]]] = True
    places = candidates[kept]
    away, _ = cKDTree(places).query(mesh.vertices, k=[1, 2, 3], distance_upper_bound=2.5 * form.width, workers=-1)
    return places, form.depth * np.exp(-_SHARP * (away / form.width) ** 2).sum(axis=1)


def lines(
    vertices: NDArray[np.float64],
    normals: NDArray[np.float64],
    form: Form,
    across: NDArray[np.float64],
    seed: int,
    wander: float = 0.25,
) -> NDArray[np.float64]:
    """Furrows that lie side by side across a direction.

    Parameters
    ----------
    vertices, normals : (n, 3) arrays, life size
    form : depth, width and spacing along the surface
    across : (3,) direction from furrow to furrow
    seed : of how they wander
    wander : how far, in spacings

    Returns
    -------
    (n,) relief.
    """
    way = np.asarray(across, dtype=np.float64) / np.linalg.norm(across)
    rng = np.random.default_rng(seed)
    phase = vertices @ way / form.spacing + rng.uniform()
    for _ in range(3):
        wave = rng.standard_normal(3)
        wave -= way * (wave @ way)  # along the furrows, so that their distance stays
        wave *= rng.uniform(0.5, 1.0) / (4 * form.spacing * np.linalg.norm(wave))
        phase = phase + wander / 3 * np.sin(2 * np.pi * (vertices @ wave + rng.uniform()))
    along = np.linalg.norm(way - (normals @ way)[:, None] * normals, axis=1)
    off = np.abs(phase - np.rint(phase)) * form.spacing / np.maximum(along, 0.3)
    relief: NDArray[np.float64] = form.depth * np.exp(-_SHARP * (off / form.width) ** 2)
    return relief


def come_and_go(vertices: NDArray[np.float64], seed: int, length: float = 7.0) -> NDArray[np.float64]:
    """(n,) shares from 0 to 1, smooth over the skin, nothing on half of it: furrows that end and begin again.

    Parameters
    ----------
    vertices : (n, 3) array, life size
    seed : another seed, other places
    length : about how long a stretch is, millimetres
    """
    rng = np.random.default_rng(seed)
    waves = rng.standard_normal((12, 3))
    waves /= np.linalg.norm(waves, axis=1, keepdims=True) * 2 * length
    sum_of_waves = np.sin(2 * np.pi * (vertices @ waves.T + rng.uniform(size=12))).sum(axis=1) / np.sqrt(6)
    rising: NDArray[np.float64] = np.clip(0.5 + 1.5 * sum_of_waves, 0.0, 1.0)
    return rising * rising * (3 - 2 * rising)


def inwards(vertices: NDArray[np.float64], inside: NDArray[np.bool_], over: float) -> NDArray[np.float64]:
    """(n,) shares that rise from 0 at the edge of a region to 1 so many millimetres inside it, 0 outside.

    Parameters
    ----------
    vertices : (n, 3) array
    inside : (n,) the vertices of the region
    over : millimetres from edge to full
    """
    share = np.zeros(len(vertices))
    if inside.all() or not inside.any():
        share[inside] = 1.0
        return share
    away, _ = cKDTree(vertices[~inside]).query(vertices[inside], distance_upper_bound=over, workers=-1)
    rising = np.clip(away / over, 0.0, 1.0)
    share[inside] = rising * rising * (3 - 2 * rising)
    return share


def from_image(
    vertices: NDArray[np.float64], normals: NDArray[np.float64], heights: NDArray[np.float64], tile: float, depth: float
) -> NDArray[np.float64]:
    """A height image laid over the surface in tiles, from front, side and top, each where the surface faces it.

    Parameters
    ----------
    vertices, normals : (n, 3) arrays, life size
    heights : (h, w) from 0, which lies `depth` under the skin, to 1, which lies on it; its edges should meet
    tile : width of the image on the skin, millimetres
    depth : millimetres from black to white
    """
    high, wide = heights.shape
    pixel = tile / wide
    steep = np.power(np.abs(normals), 8.0)
    weights = steep / steep.sum(axis=1, keepdims=True)
    relief = np.zeros(len(vertices))
    for axis, (right, up) in enumerate(((1, 2), (0, 2), (0, 1))):
        rows = np.flatnonzero(weights[:, axis] > 1e-3)
        at = np.stack([-vertices[rows, up] / pixel % high, vertices[rows, right] / pixel % wide])
        relief[rows] += weights[rows, axis] * map_coordinates(heights, at, order=1, mode="grid-wrap")
    return depth * (relief - 1.0)


def what_prints(forms: Mapping[str, Form], pixel: float, scale: float) -> list[str]:
    """For each form a sentence: whether it is as wide as two pixels of the print.

    Parameters
    ----------
    forms : name to form, life size
    pixel : of the printer, millimetres
    scale : print size over life size
    """
    least = 2 * pixel / scale
    told = [f"Two pixels of {pixel:g} mm stand for {least:.2f} mm of skin at 1:{1 / scale:g}"]
    for name, form in forms.items():
        verdict = "can show" if form.width >= least else "will not show: they are narrower"
        told.append(
            f"{name.capitalize()} {form.width:.2f} mm wide are {form.width * scale:.3f} mm on the print and {verdict}"
        )
    return told
