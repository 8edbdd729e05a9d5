"""What is known on a surface painted into a picture over its texture places."""

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import distance_transform_edt

from .quads import Quads


def spread_out(
    vertices: NDArray[np.float64], quads: Quads, uv: NDArray[np.float64], uv_quads: Quads, size: int
) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """Where on the surface each pixel of a square picture lies.

    Parameters
    ----------
    vertices, quads : (n, 3) and (m, 4), the surface
    uv, uv_quads : (k, 2) places in the unit square, v upwards, and (m, 4) the faces' corners among them
    size : pixels along a side

    Returns
    -------
    (size, size, 3) places, the top row first, and (size, size) mask of the pixels that lie on a face. The others get
    the place of the nearest that does: a margin round the islands, as texture filters want it.
    """
    flat = uv[uv_quads] * size - 0.5
    longest = np.linalg.norm(np.roll(flat, -1, axis=1) - flat, axis=2).max(axis=1)
    places = np.zeros((size, size, 3), np.float32)
    known = np.zeros((size, size), bool)
    steps = np.maximum(np.ceil(1.5 * longest).astype(int) + 1, 2)
    for count in np.unique(steps):
        rows = np.flatnonzero(steps == count)
        s, t = (each.ravel() for each in np.meshgrid(*[np.linspace(0, 1, count)] * 2))
        share = np.stack([(1 - s) * (1 - t), s * (1 - t), s * t, (1 - s) * t])
        for part in np.array_split(rows, max(1, len(rows) * count * count // 2_000_000)):
            at = np.rint(np.einsum("mkx,kp->mpx", flat[part], share)).astype(int).reshape(-1, 2)
            at = np.clip(at, 0, size - 1)
            down = size - 1 - at[:, 1]
            places[down, at[:, 0]] = np.einsum("mkx,kp->mpx", vertices[quads[part]], share).reshape(-1, 3)
            known[down, at[:, 0]] = True
    _, (down, across) = distance_transform_edt(~known, return_indices=True)
    return places[down, across], known
