"""The demo head's hair as a part of its own: a closed solid whose under side lies on the bare scalp."""

import numpy as np
from canthus.geometry.measures import components
from canthus.geometry.mesh import Mesh
from numpy.typing import NDArray

from . import ears, hair, sampling, sculpture, skull
from .build import POSED
from .colours import HAIR, HAIR_LIGHT
from .shapes import Field, Points, step, within
from .variation import Variation

EDGE = 2.5
"""How far (mm) inside the hairline the part ends: what is thinner than that grows out of skin and is no part."""
LEAST = 2.0
"""Least thickness (mm): a third of a millimetre at 1/6, which prints."""
ROUNDING = 1.2
"""Width (mm) over which the part's edge is rounded."""
BEHIND_EAR = 1.5
"""Millimetres kept clear of the ears' shells."""


def form(points: Points) -> Field:
    """Negative inside the hair."""
    bare = sculpture.bare_head(points)
    grown = np.minimum(hair.grown_on(bare, points, skull.body), bare - np.float32(LEAST))
    line = (EDGE - hair.hairline(points)).astype(np.float32)
    clear = BEHIND_EAR - (ears.set_on(np.full(len(points), 50.0, np.float32), points))
    tuft = within(within(grown, line, ROUNDING), clear.astype(np.float32), ROUNDING)
    return np.maximum(tuft, -bare)


def hair_part(seed: int = 0, grid_mm: float = 1.2) -> Mesh:
    """The hair of the demo head of a seed, closed and coloured, in the posed frame of that head, millimetres."""
    variation = Variation.drawn(seed)
    reach = [sampling.axis(low, high, grid_mm, [], grid_mm) for low, high in ((-96, 96), (-122, 96), (-66, 152))]
    vertices, triangles = sampling.surface(sampling.sampled(form, reach), reach)
    vertices = sampling.settled(form, vertices, triangles, grid_mm / 3)
    mesh = Mesh(variation.apply(vertices) @ POSED, triangles[:, ::-1], _paint(vertices))
    return mesh.kept(components(mesh) == 0)


def _paint(vertices: NDArray) -> NDArray[np.uint8]:
    light = 0.75 * step(hair.relief(vertices.astype(np.float32)), 0.9, 3.4)[:, None]
    grain = np.random.default_rng(7).normal(0, 1.6, (len(vertices), 1))
    return np.clip(np.rint(np.array(HAIR) + light * (np.array(HAIR_LIGHT) - np.array(HAIR)) + grain), 0, 255).astype(
        np.uint8
    )
