"""The symmetry plane of a face, found by laying the face over its mirror image."""

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ...geometry.cloud import Cloud
from ...geometry.transforms import applied, reflection, rotation, transform


def squared_up(
    surface: Cloud, mask: NDArray[np.bool_], rounds: int = 40, reach: float = 6.0
) -> tuple[NDArray[np.float64], float]:
    """The rigid transform that puts the symmetry plane of a nearly posed face at x = 0.

    Parameters
    ----------
    surface : Cloud with normals, posed to within some 15 degrees
    mask : (n,) the points of the face that are mirrored
    rounds : steps of laying the mirrored face over the surface
    reach : what lies farther from its mirror image counts little, mm

    Returns
    -------
    (4, 4) transform, which neither nods the head nor moves it in depth or height, and the median distance of the
    mirrored face from the surface, mm.
    """
    assert surface.normals is not None
    tree = cKDTree(surface.points)
    face = surface.points[mask]
    normal, offset = np.array([1.0, 0.0, 0.0]), 0.0
    away = np.inf
    for _ in range(rounds):
        mirrored = applied(reflection(normal, offset), face)
        _, rows = tree.query(mirrored)
        normals = surface.normals[rows]
        gaps = np.einsum("nd,nd->n", normals, surface.points[rows] - mirrored)
        away = float(np.median(np.abs(gaps)))
        weights = 1.0 / (1.0 + (gaps / (0.3 * reach)) ** 2) ** 2
        middle = mirrored.mean(axis=0)
        slopes = np.column_stack([np.cross(mirrored - middle, normals), normals])
        normal_matrix = slopes.T @ (slopes * weights[:, None]) + 1e-6 * np.eye(6)
        change = np.linalg.solve(normal_matrix, slopes.T @ (weights * gaps))
        angle = float(np.linalg.norm(change[:3]))
        turn = rotation(change[:3], min(angle, 0.2)) if angle > 1e-12 else np.eye(3)
        # The face lies on its mirror image under reflection and turn; half of that is what the plane has to move by.
        whole = transform(turn, middle + change[3:] - turn @ middle) @ reflection(normal, offset)
        values, vectors = np.linalg.eigh((whole[:3, :3] + whole[:3, :3].T) / 2)
        fresh = vectors[:, np.argmin(values)]
        normal = fresh * np.sign(fresh[0])
        offset = float(normal @ whole[:3, 3]) / 2
    up = np.array([0.0, 0.0, 1.0]) - normal[2] * normal
    up /= np.linalg.norm(up)
    upright = np.array([normal, np.cross(up, normal), up])
    middle = face.mean(axis=0)
    middle = middle - (middle @ normal - offset) * normal
    return transform(upright, np.array([0.0, middle[1], middle[2]]) - upright @ middle), away
