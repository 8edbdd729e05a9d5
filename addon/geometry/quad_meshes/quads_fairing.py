"""Quads that came out too sharp, too blunt or turned over, drawn smooth; the others stay."""

import numpy as np
from numpy.typing import NDArray

from ..directions import unit
from .quads import Quads, averaging, corner_angles, facing_of, quad_normals

LEAST, MOST = np.radians([25.0, 168.0])
"""Corner angles beyond which a face is mended."""


def poor_faces(vertices: NDArray[np.float64], quads: Quads) -> NDArray[np.bool_]:
    """(m,) mask of the faces with a corner too sharp or too blunt, or turned against the surface round a corner."""
    angles = corner_angles(vertices, quads)
    across = unit(facing_of(vertices, quads))
    round_it = np.einsum("mki,mi->mk", quad_normals(vertices, quads)[quads], across).min(axis=1)
    poor: NDArray[np.bool_] = (angles.min(axis=1) < LEAST) | (angles.max(axis=1) > MOST) | (round_it < 0.2)
    return poor


def faired(
    vertices: NDArray[np.float64],
    quads: Quads,
    reach: NDArray[np.float64] | float,
    turns: int = 120,
    image: NDArray[np.int64] | None = None,
) -> NDArray[np.float64]:
    """The vertices, those of poor faces and next to them moved to the mean of their neighbours until none is left.

    Parameters
    ----------
    vertices : (n, 3) array
    quads : (m, 4) rows of them
    reach : how far a vertex may move at most, millimetres, or one length for each
    turns : how often to look again
    image : (n,) the vertex that is each one's mirror image in the plane x = 0, to keep both sides alike
    """
    mean, start = averaging(quads, len(vertices)), vertices
    reach = np.broadcast_to(np.asarray(reach, np.float64), len(vertices))
    vertices, looked_at = vertices.copy(), np.arange(len(quads))
    for _ in range(turns):
        bad = looked_at[poor_faces(vertices, quads[looked_at])]
        if not len(bad):
            break
        moving = np.zeros(len(vertices))
        moving[quads[bad]] = 1.0
        wider = mean @ moving > 0
        weight = np.maximum(moving, 0.5 * wider)
        if image is not None:
            weight = np.maximum(weight, weight[image])
        near = np.flatnonzero(weight)
        vertices[near] += 0.5 * weight[near, None] * (mean[near] @ vertices - vertices[near])
        way = vertices[near] - start[near]
        length = np.maximum(np.linalg.norm(way, axis=1), 1e-12)
        vertices[near] = start[near] + way * np.minimum(1.0, reach[near] / length)[:, None]
        if image is not None:
            vertices[near] = (vertices[near] + vertices[image[near]] * np.array([-1.0, 1.0, 1.0])) / 2
        widest = mean @ (mean @ (weight > 0).astype(float)) > 0  # only there can a face have become poor, or be judged
        looked_at = np.flatnonzero(widest[quads].any(axis=1))
    return vertices
