"""Rigid and similarity transforms as (4, 4) matrices: composed, applied, fitted to matching points or to planes."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from .errors import BadCloud


def transform(linear: ArrayLike, shift: ArrayLike = (0.0, 0.0, 0.0)) -> NDArray[np.float64]:
    """(4, 4) matrix that takes x to `linear` @ x + `shift`."""
    matrix = np.eye(4)
    matrix[:3, :3] = linear
    matrix[:3, 3] = shift
    return matrix


def applied(matrix: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 3) points, or one (3,) point, under a (4, 4) transform."""
    moved: NDArray[np.float64] = points @ matrix[:3, :3].T + matrix[:3, 3]
    return moved


def rotation(axis: ArrayLike, angle: float) -> NDArray[np.float64]:
    """(3, 3) turn by `angle` radians about `axis`, right-handed (Rodrigues' formula)."""
    x, y, z = np.asarray(axis, dtype=np.float64) / np.linalg.norm(axis)
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    turned: NDArray[np.float64] = np.eye(3) + np.sin(angle) * cross + (1.0 - np.cos(angle)) * (cross @ cross)
    return turned


def reflection(normal: ArrayLike, offset: float = 0.0) -> NDArray[np.float64]:
    """(4, 4) mirroring in the plane of points x with normal . x = offset."""
    unit = np.asarray(normal, dtype=np.float64) / np.linalg.norm(normal)
    return transform(np.eye(3) - 2.0 * np.outer(unit, unit), 2.0 * offset * unit)


def matched(
    source: NDArray[np.float64],
    target: NDArray[np.float64],
    weights: NDArray[np.float64] | None = None,
    *,
    scaled: bool = False,
) -> NDArray[np.float64]:
    """The transform that brings `source` nearest to `target`, row by row, in least squares.

    Parameters
    ----------
    source, target : (n, 3) arrays of matching points, n >= 3 and not all on one line
    weights : (n,) array, not negative, or None for equal ones
    scaled : whether an even scale may change too (similarity instead of rigid)

    Returns
    -------
    (4, 4) array, never a mirroring one.

    Raises
    ------
    BadCloud
        Too few points, or all of them on one line.

    Notes
    -----
    Umeyama 1991, IEEE PAMI 13(4), 376-380, doi 10.1109/34.88573, with weights.
    """
    share = np.ones(len(source)) if weights is None else np.asarray(weights, dtype=np.float64)
    if np.count_nonzero(share) < 3:
        raise BadCloud(f"{np.count_nonzero(share)} matching points: a fit needs three that are not on one line")
    share = share / share.sum()
    middle, aim = share @ source, share @ target
    spread = (target - aim).T @ ((source - middle) * share[:, None])
    left, sizes, right = np.linalg.svd(spread)
    if sizes[1] <= 1e-12 * max(sizes[0], 1e-300):
        raise BadCloud("the matching points lie on one line: add one beside it")
    signs = np.array([1.0, 1.0, np.sign(np.linalg.det(left) * np.linalg.det(right))])
    turn = (left * signs) @ right
    size = 1.0
    if scaled:
        size = float((sizes * signs).sum() / (share @ ((source - middle) ** 2).sum(axis=1)))
    return transform(size * turn, aim - size * (turn @ middle))


def towards_planes(
    points: NDArray[np.float64], places: NDArray[np.float64], normals: NDArray[np.float64], size: float = 1.0
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The small rigid move that brings points nearest to the planes paired with them, in least squares.

    Parameters
    ----------
    points : (n, 3) array
    places, normals : (n, 3) arrays: a point of each plane, and its unit normal
    size : of what the points span, in their unit: so large a lever counts as much as the shift does

    Returns
    -------
    (4, 4) move, and (6,) how far it goes: its turn about the points' middle, radians times `size`, then its shift.

    Notes
    -----
    One step of Chen and Medioni 1992, doi 10.1016/0262-8856(92)90066-C, hardly damped: along the planes nothing moves.
    """
    from scipy.spatial.transform import Rotation  # here, for enabling the extension must not wait for it

    middle = points.mean(axis=0)
    levers = np.concatenate([np.cross((points - middle) / size, normals), normals], axis=1)
    wanted = np.einsum("ij,ij->i", places - points, normals)
    motion = np.linalg.lstsq(levers.T @ levers + 1e-9 * np.eye(6), levers.T @ wanted, rcond=None)[0]
    turn = Rotation.from_rotvec(motion[:3] / size).as_matrix()
    return transform(turn, middle + motion[3:] - turn @ middle), motion
