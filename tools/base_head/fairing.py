"""What came out too sharp or turned over is drawn smooth, without heed to the form."""

import numpy as np
from canthus.geometry.quads import corner_angles, facing_of, quad_normals
from numpy.typing import NDArray

from .laying import MIRROR, Laid, averaging

LEAST, MOST = np.radians([25.0, 168.0])
TURNS = 120


def faired(now: Laid, reach: NDArray[np.float64]) -> NDArray[np.float64]:
    """The vertices, those of poor faces and next to them moved to the mean of their neighbours until few are left.

    `reach` (n,) is how far each vertex may move at most, millimetres.
    """
    vertices, mean = now.vertices.copy(), averaging(now.quads, len(now.vertices))
    for _ in range(TURNS):
        bad = poor(vertices, now.quads)
        if not bad.any():
            break
        moving = np.zeros(len(vertices))
        moving[now.quads[bad]] = 1.0
        weight = np.maximum(moving, 0.5 * (mean @ moving > 0))
        weight = np.maximum(weight, weight[now.image])
        vertices += 0.5 * weight[:, None] * (mean @ vertices - vertices)
        way = vertices - now.vertices
        length = np.linalg.norm(way, axis=1)
        vertices = now.vertices + way * np.minimum(1.0, reach / np.maximum(length, 1e-12))[:, None]
        vertices = (vertices + vertices[now.image] * MIRROR) / 2
    return vertices


def poor(vertices: NDArray[np.float64], quads: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Mask of the faces with a corner too sharp or too blunt, or turned against the surface round them."""
    angles = corner_angles(vertices, quads)
    across = facing_of(vertices, quads)
    across /= np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-12)
    round_it = np.einsum("mki,mi->mk", quad_normals(vertices, quads)[quads], across).min(axis=1)
    return (angles.min(axis=1) < LEAST) | (angles.max(axis=1) > MOST) | (round_it < 0.2)
