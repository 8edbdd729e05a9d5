"""A first guess of a camera from points it is known to see, to begin a refinement from."""

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import rq

from ..errors import NotPossible
from .cameras import Camera, Picture

LEAST_LINEAR = 6
"""Points the direct linear transform needs: 11 unknowns, two equations a point (Hartley and Zisserman, chapter 7)."""
LEAST_POSED = 4
"""Points a pose needs where the focal length is known: three leave up to four poses, a fourth decides."""
_FLAT = 0.02  # relief of the points as a share of their breadth, below which they are as good as in one plane
_ROUNDS = 20


def linear_matrix(points: NDArray[np.float64], pixels: NDArray[np.float64]) -> NDArray[np.float64]:
    """The camera matrix by the direct linear transform.

    Parameters
    ----------
    points : (n, 3) world points, n at least 6, not in one plane
    pixels : (n, 2) where they are seen

    Returns
    -------
    (3, 4) matrix of unit norm that takes (x, y, z, 1) to the pixel's homogeneous coordinates, depths positive.

    Raises
    ------
    NotPossible
        Too few points, or all in one plane.

    Notes
    -----
    Both sets are first moved to their mean and scaled, without which the equations are ill conditioned. Hartley and
    Zisserman, Multiple View Geometry in Computer Vision, 2nd edition 2004, algorithm 7.1.
    """
    if len(points) < LEAST_LINEAR:
        raise NotPossible(f"a camera's matrix needs {LEAST_LINEAR} points, here are {len(points)}")
    world, evened = _evened(points), _evened(pixels)
    scaled, flat = _through(world, points), _through(evened, pixels)
    if np.linalg.svd(scaled, compute_uv=False)[2] < 1e-6 * np.sqrt(len(points)):
        raise NotPossible("the points lie in one plane: no camera follows from them alone")
    whole = np.column_stack([scaled, np.ones(len(points))])
    none = np.zeros_like(whole)
    rows = np.concatenate(
        [
            np.column_stack([whole, none, -flat[:, :1] * whole]),
            np.column_stack([none, whole, -flat[:, 1:] * whole]),
        ]
    )
    found = np.linalg.svd(rows)[2][-1].reshape(3, 4)
    matrix = np.linalg.inv(evened) @ found @ world
    depths = np.column_stack([points, np.ones(len(points))]) @ matrix[2]
    return np.asarray(matrix / np.linalg.norm(matrix) * (1.0 if np.median(depths) > 0 else -1.0))


def parted(matrix: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """A (3, 4) camera matrix as calibration (3, 3) with a last entry of 1, rotation (3, 3) and shift (3,)."""
    calibration, turn = rq(matrix[:, :3])
    signs = np.sign(np.diag(calibration))
    calibration, turn = calibration * signs, signs[:, None] * turn
    shift = np.linalg.solve(calibration, matrix[:, 3])
    if np.linalg.det(turn) < 0:  # the matrix is known up to its sign only
        turn, shift = -turn, -shift
    return calibration / calibration[2, 2], turn, shift


def first_cameras(
    points: NDArray[np.float64],
    pixels: NDArray[np.float64],
    picture: Picture,
    focal: float = 0.0,
    sides: NDArray[np.float64] | None = None,
) -> list[Camera]:
    """Cameras that may have seen these points, to begin a refinement from.

    Parameters
    ----------
    points : (n, 3) world points, n at least 4
    pixels : (n, 2) where they are seen
    picture : the photograph's frame
    focal : the focal length in pixels; 0 where it is unknown
    sides : (k, 3) unit vectors towards where a camera may have stood, for points that are few or flat

    Raises
    ------
    NotPossible
        Fewer than four points, or nearly all on one line.

    Notes
    -----
    From six points on the direct linear transform gives one. The others come from a distant camera's view, which is
    linear in the points, brought nearer step by step (DeMenthon and Davis 1995, Model-based object pose in 25 lines of
    code, doi 10.1007/BF01450852). Flat points are seen alike from two sides, so each such pose has a twin.
    """
    if len(points) < LEAST_POSED:
        raise NotPossible(f"a camera's place needs {LEAST_POSED} points, here are {len(points)}")
    span = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    if span[1] < _FLAT * span[0]:
        raise NotPossible("the points lie on one line: mark some beside it")
    found = []
    if len(points) >= LEAST_LINEAR and span[2] > _FLAT * span[0]:
        calibration, turn, shift = parted(linear_matrix(points, pixels))
        length = float(np.sqrt(calibration[0, 0] * calibration[1, 1]))
        factor = (focal or length) / length
        found.append(Camera(turn, shift * np.array([1.0, 1.0, factor]), focal or length, picture))
    for length in [focal] if focal else [share * picture.longest for share in (0.8, 1.4, 2.5, 5.0)]:
        found += _approached(points, pixels, picture, length)
        found += [_facing(points, pixels, picture, length, side) for side in (() if sides is None else sides)]
    return [camera for camera in found if np.all(camera.seen(points)[:, 2] > 0)]


def _approached(
    points: NDArray[np.float64], pixels: NDArray[np.float64], picture: Picture, focal: float
) -> list[Camera]:
    """The pose by iterated scaled orthography, and that of its flat twin."""
    centre = points.mean(axis=0)
    off = points - centre
    affine = np.column_stack([off, np.ones(len(off))])
    flat = (pixels - picture.middle) / focal
    cameras = []
    for mirrored in (False, True):
        nearness = np.ones(len(points))  # depth of each point as a share of the middle's
        for _ in range(_ROUNDS):
            rows, *_ = np.linalg.lstsq(affine, flat * nearness[:, None], rcond=None)
            turn, scale = _upright(rows[:3].T)
            if mirrored:
                turn = _twin(turn, off)
            depth = 1 / scale
            nearness = np.maximum(1 + off @ turn[2] / depth, 0.2)
        shift = np.array([*(rows[3] * depth), depth]) - turn @ centre
        cameras.append(Camera(turn, shift, focal, picture))
    return cameras


def _facing(
    points: NDArray[np.float64],
    pixels: NDArray[np.float64],
    picture: Picture,
    focal: float,
    side: NDArray[np.float64],
) -> Camera:
    """The distant camera on one side of the points, rolled and moved so that they are seen about where they were."""
    centre, middle = points.mean(axis=0), pixels.mean(axis=0)
    level = np.linalg.svd(side[None])[2][1]  # any axis across the line of sight: the roll is found from the pixels
    turn = np.stack([level, np.cross(-side, level), -side])
    x, y = ((points - centre) @ turn[:2].T).T
    flat = (pixels - middle) @ np.array([1.0, 1.0j])
    rolled = np.vdot(x + 1.0j * y, flat) / max(float((x**2 + y**2).sum()), 1e-12)
    cosine, sine = (rolled / abs(rolled)).real, (rolled / abs(rolled)).imag
    turn[:2] = np.array([[cosine, -sine], [sine, cosine]]) @ turn[:2]
    depth = focal / abs(rolled)
    offset = (middle - picture.middle) / focal * depth
    return Camera(turn, np.array([*offset, depth]) - turn @ centre, focal, picture)


def _upright(rows: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """The rotation whose first two rows are nearest to these two, and their common length."""
    left, lengths, right = np.linalg.svd(rows, full_matrices=False)
    two = left @ right
    return np.vstack([two, np.cross(two[0], two[1])]), float(max(lengths.mean(), 1e-12))


def _twin(turn: NDArray[np.float64], off: NDArray[np.float64]) -> NDArray[np.float64]:
    """The pose that shows flat points alike from afar: the picture's axes mirrored in the points' plane."""
    normal = np.linalg.svd(off)[2][2]
    rows = turn[:2] - 2 * np.outer(turn[:2] @ normal, normal)
    return np.vstack([rows, np.cross(rows[0], rows[1])])


def _evened(places: NDArray[np.float64]) -> NDArray[np.float64]:
    """The similarity that moves places to mean 0 and mean distance of the square root of their dimension."""
    wide = places.shape[1]
    middle = places.mean(axis=0)
    scale = np.sqrt(wide) / max(np.linalg.norm(places - middle, axis=1).mean(), 1e-12)
    matrix = np.eye(wide + 1)
    matrix[:wide, :wide] *= scale
    matrix[:wide, wide] = -scale * middle
    return matrix


def _through(matrix: NDArray[np.float64], places: NDArray[np.float64]) -> NDArray[np.float64]:
    wide = places.shape[1]
    return np.asarray(places @ matrix[:wide, :wide].T + matrix[:wide, wide])
