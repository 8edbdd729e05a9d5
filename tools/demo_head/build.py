"""Build the demo head: sculpture to mesh, colours, small asymmetry, truth."""

from dataclasses import dataclass
from functools import partial

import numpy as np
from canthus.geometry.mesh import Mesh
from numpy.typing import NDArray

from . import sampling, sculpture, skull, truth
from .colours import coloured
from .eyes import EyeForm
from .truth import EyeTruth, Truth
from .variation import Variation

POSED = np.diag([1.0, -1.0, 1.0])
"""From the sculptor's frame (across, forward, up) to the posed frame (left, back, up)."""


@dataclass(frozen=True, eq=False)
class DemoHead:
    """The mesh (closed, coloured, with a `region` column) and all that is known of it."""

    mesh: Mesh
    truth: Truth


def build(seed: int = 0, grid_mm: float = 0.6, haired: bool = True) -> DemoHead:
    """The demo head in the posed frame, millimetres.

    Parameters
    ----------
    seed : 0 is the portrait itself; other seeds are other people, within the published norms
    grid_mm : spacing of the grid the sculpture is sampled on; the eyes get half of it
    haired : False leaves the scalp bare, for hair that is a part of its own (`wig.py`)
    """
    variation = Variation.drawn(seed)
    form = partial(sculpture.whole_head, eye=variation.eye, haired=haired)
    mesh = sculpted(seed, grid_mm, haired)
    return DemoHead(mesh, _truth(form, variation.eye, variation, mesh, seed, grid_mm))


def sculpted(seed: int = 0, grid_mm: float = 0.6, haired: bool = True) -> Mesh:
    """The mesh alone, as `build` makes it: what is known of it costs more than a coarse one."""
    variation = Variation.drawn(seed)
    eye = variation.eye
    form = partial(sculpture.whole_head, eye=eye, haired=haired)
    axes = _axes(grid_mm, eye)
    vertices, triangles = sampling.surface(_closed(sampling.sampled(form, axes)), axes)
    vertices = sampling.settled(form, vertices, triangles, grid_mm / 3)
    colours, regions = coloured(vertices, eye, haired)
    moved = variation.apply(vertices) @ POSED
    return Mesh(moved, triangles[:, ::-1], colours, {"region": regions})


def _axes(grid_mm: float, eye: EyeForm) -> list[NDArray[np.float64]]:
    x, f, z = eye.centre
    fine = min(grid_mm, max(grid_mm / 2, 0.3))
    return [
        sampling.axis(-98, 98, grid_mm, [(-x - 15, -x + 18), (x - 18, x + 15)], fine),
        sampling.axis(-118, 126, grid_mm, [(f + 2, f + 16)], fine),
        sampling.axis(skull.NECK_END - 2, 150, grid_mm, [(z - 12, z + 14)], fine),
    ]


def _closed(values: NDArray[np.float32]) -> NDArray[np.float32]:
    """The values with the outermost layer outside, so that the surface cannot run off the grid."""
    for dimension in range(3):
        for end in (0, -1):
            layer = np.moveaxis(values, dimension, 0)[end]
            np.maximum(layer, 0.1, out=layer)
    return values


def _truth(form, eye: EyeForm, variation: Variation, mesh: Mesh, seed: int, grid_mm: float) -> Truth:
    marks = {
        name: (variation.apply(place[None]) @ POSED)[0] for name, place in truth.sculpted_landmarks(form, eye).items()
    }
    marks["vertex"] = mesh.vertices[np.argmax(mesh.vertices[:, 2])]
    margins = truth.lid_margins(eye)
    eyes = {}
    for side, sign in truth.SIDES.items():
        mirror = np.array([sign, 1, 1])
        centre = np.asarray(eye.centre)
        upper, lower, middle = (variation.apply(c * mirror) @ POSED for c in (*margins, centre[None]))
        eyes[side] = EyeTruth(
            side, middle[0], np.array([0.0, -1.0, 0.0]), eye.radius,
            middle[0] - [0, eye.cornea_shift, 0], eye.cornea_radius, eye.lid_thickness, upper, lower,
            float(np.ptp([marks[f"endocanthion-{side}"][0], marks[f"exocanthion-{side}"][0]])),
            float((marks[f"palpebrale-superius-{side}"] - marks[f"palpebrale-inferius-{side}"])[2]),
        )  # fmt: skip
    return Truth(dict(sorted(marks.items())), eyes, seed, grid_mm)
