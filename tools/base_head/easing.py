"""Narrow places of the base head eased: corners of eyes and mouth, and where the ear grows out of the cheek.

There rows of faces crowd; drawn to their neighbours' mean they come apart, and the corner, which that pulls inwards,
is carried back with all that lies round it.
"""

import numpy as np
from canthus.geometry.quad_meshes.quads import averaging
from numpy.typing import NDArray

from .laying import MIRROR, Laid

CORNERS = (("endocanthion-left", 3.5), ("cheilion-left", 3.5))
EAR_ROOTS = (((71.0, 3.0, 22.0), 8.0), ((70.0, 12.0, 32.0), 8.0), ((61.0, 4.0, -28.0), 8.0), ((58.0, 16.0, -32.0), 8.0))
"""Places (left side, posed frame) and how far round them, mm."""
TURNS = 30
CARRIED_WITH = 4.5
"""Spread of what goes back along with a corner, mm."""


def eased(now: Laid, marks: dict[str, int], places: dict[str, NDArray[np.float64]]) -> NDArray[np.float64]:
    """The vertices, narrow places eased; `marks` are the landmarks' vertices, `places` where they belong."""
    vertices, mean = now.vertices.copy(), averaging(now.quads, len(now.vertices))
    share = np.zeros(len(vertices))
    for place, reach in (*((places[name] + np.array([0.5, 0.0, 0.0]), reach) for name, reach in CORNERS), *EAR_ROOTS):
        for side in (np.ones(3), MIRROR):
            away = np.linalg.norm(vertices - np.asarray(place) * side, axis=1) / reach
            share = np.maximum(share, np.clip(1.5 - 1.5 * away, 0, 1))
    for _ in range(TURNS):
        vertices += 0.5 * share[:, None] * (mean @ vertices - vertices)
    for name, _ in CORNERS:
        for corner in (name, name.replace("left", "right")):
            away = np.linalg.norm(vertices - vertices[marks[corner]], axis=1)
            weight = np.exp(-0.5 * (away / CARRIED_WITH) ** 2)
            vertices = vertices + weight[:, None] * (places[corner] - vertices[marks[corner]])
    return (vertices + vertices[now.image] * MIRROR) / 2
