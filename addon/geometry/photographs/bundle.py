"""Cameras and points brought into agreement with everything that was marked, all at once.

The points may be known to within a spread beforehand (landmarks on a scan) or not at all. What a mark says, and where a
point was thought to be, counts linearly once it is off by more than a few of its own spreads (Huber), so that one wrong
mark and one mistaken point do little harm.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from .cameras import Camera

HUBER = 2.0
"""Spreads beyond which a mark or a point's own place counts linearly."""
_LENS_SPREAD = 0.7  # of the logarithm of an unknown focal length: half to twice the guess is one spread
_USUAL_LENS = 1.6  # focal length over the picture's longer side: between a telephone's lens and a portrait lens
_NEAREST = 1e-3  # a depth below this share of the middle one is a point behind the camera
_POSE = 6  # unknowns of a camera's pose: three of its turn, three of its shift


@dataclass(frozen=True, eq=False)
class Sight:
    """What was marked in one photograph.

    Parameters
    ----------
    points : (k,) rows of the points
    pixels : (k, 2) where each was marked
    spread : one standard deviation of a mark, pixels
    beside : (k, 3) what is added to each point before it is seen; zeros where the point itself was marked
    """

    points: NDArray[np.int64]
    pixels: NDArray[np.float64]
    spread: float
    beside: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Bundle:
    """Cameras and points in agreement.

    Parameters
    ----------
    cameras : in the order of the sights
    points : (n, 3)
    covariance : (3 n, 3 n) of the points, row after row, all else unknown too
    focal_errors : one standard deviation of each focal length, pixels; 0 where it was given
    misses : of each sight, (k, 2) pixels from the mark to where the point is seen
    cost : half the sum of the robust squares: the smaller, the better it all agrees
    excess : how much larger the misses are than their spreads say, as a factor; the covariance holds it where above 1
    """

    cameras: tuple[Camera, ...]
    points: NDArray[np.float64]
    covariance: NDArray[np.float64]
    focal_errors: NDArray[np.float64]
    misses: tuple[NDArray[np.float64], ...]
    cost: float
    excess: float


def bundle(
    cameras: Sequence[Camera],
    sights: Sequence[Sight],
    points: NDArray[np.float64],
    spreads: NDArray[np.float64],
    lenses: Sequence[int],
    known: Sequence[bool],
) -> Bundle:
    """Refine cameras and points together.

    Parameters
    ----------
    cameras : a first guess of each, all points in front of it
    sights : what was marked in each
    points : (n, 3) where each point is thought to lie
    spreads : (n,) one standard deviation of that, the points' unit
    lenses : of each camera the number of its lens: cameras of one number share their focal length
    known : of each camera whether its focal length is given and held

    Notes
    -----
    Powell's dogleg of scipy with its own derivatives. The focal length is refined as its logarithm,
    about a usual lens with a wide spread: without one, few or flat points let it run away.
    """
    work = _Work(cameras, sights, points, spreads, lenses, known)
    found = least_squares(
        work.residuals,
        work.start,
        work.slopes,
        method="dogbox",
        x_scale="jac",
        loss=_huber_on(work.marks + points.size),
        max_nfev=200,
    )
    after, places = work.unpacked(found.x)
    free = len(found.fun) - len(found.x)
    excess = float(np.sqrt(2 * found.cost / free)) if free > 0 else 1.0
    inverse = np.linalg.pinv(found.jac.T @ found.jac, hermitian=True) * max(1.0, excess) ** 2
    first = len(found.x) - points.size
    errors = [
        camera.focal * np.sqrt(inverse[column, column]) if column >= 0 else 0.0
        for camera, column in zip(after, work.lens_columns, strict=True)
    ]
    misses = tuple(
        camera.project(places[sight.points] + sight.beside) - sight.pixels
        for camera, sight in zip(after, sights, strict=True)
    )
    return Bundle(after, places, inverse[first:, first:], np.array(errors), misses, float(found.cost), excess)


class _Work:
    """The unknowns in one row: each camera's turn from its start and its shift, each free lens, each point."""

    def __init__(
        self,
        cameras: Sequence[Camera],
        sights: Sequence[Sight],
        points: NDArray[np.float64],
        spreads: NDArray[np.float64],
        lenses: Sequence[int],
        known: Sequence[bool],
    ) -> None:
        self.cameras, self.sights = tuple(cameras), tuple(sights)
        self.points, self.spreads = points, spreads
        held = {lens for lens, given in zip(lenses, known, strict=True) if given}
        self.free = sorted(set(lenses) - held)
        poses = _POSE * len(cameras)
        self.lens_columns = [-1 if lens in held else poses + self.free.index(lens) for lens in lenses]
        self.first_point = poses + len(self.free)
        first_of = [lenses.index(lens) for lens in self.free]
        self.usual = np.log([_USUAL_LENS * cameras[number].picture.longest for number in first_of])
        logs = np.log([cameras[number].focal for number in first_of])
        shifts = [np.concatenate([np.zeros(3), camera.shift]) for camera in cameras]
        self.start = np.concatenate([*shifts, logs, points.ravel()])
        self.marks = 2 * sum(len(sight.points) for sight in sights)

    def unpacked(self, unknown: NDArray[np.float64]) -> tuple[tuple[Camera, ...], NDArray[np.float64]]:
        """The cameras and points that a row of unknowns stands for."""
        cameras = []
        for number, camera in enumerate(self.cameras):
            pose = unknown[_POSE * number : _POSE * (number + 1)]
            column = self.lens_columns[number]
            cameras.append(
                replace(
                    camera,
                    turn=Rotation.from_rotvec(pose[:3]).as_matrix() @ camera.turn,
                    shift=pose[3:],
                    focal=camera.focal if column < 0 else float(np.exp(unknown[column])),
                )
            )
        return tuple(cameras), unknown[self.first_point :].reshape(-1, 3)

    def residuals(self, unknown: NDArray[np.float64]) -> NDArray[np.float64]:
        """Every miss over its spread: marks, then points, then lenses."""
        cameras, points = self.unpacked(unknown)
        marks = [
            (camera.project(_before(camera, points[sight.points] + sight.beside)) - sight.pixels) / sight.spread
            for camera, sight in zip(cameras, self.sights, strict=True)
        ]
        places = (points - self.points) / self.spreads[:, None]
        lenses = (unknown[self.first_point - len(self.free) : self.first_point] - self.usual) / _LENS_SPREAD
        return np.concatenate([*(each.ravel() for each in marks), places.ravel(), lenses])

    def slopes(self, unknown: NDArray[np.float64]) -> NDArray[np.float64]:
        """(residuals, unknowns) derivatives."""
        cameras, points = self.unpacked(unknown)
        table = np.zeros((self.marks + points.size + len(self.free), len(unknown)))
        row = 0
        for number, (camera, sight) in enumerate(zip(cameras, self.sights, strict=True)):
            there = _before(camera, points[sight.points] + sight.beside)
            by_place, by_lens = camera.slopes(there)
            own = slice(row, row + 2 * len(there))
            first = _POSE * number
            spun = -_crossing(there @ camera.turn.T) @ _turning(unknown[first : first + 3])
            table[own, first : first + 3] = (by_place @ spun).reshape(-1, 3) / sight.spread
            table[own, first + 3 : first + _POSE] = by_place.reshape(-1, 3) / sight.spread
            if self.lens_columns[number] >= 0:
                table[own, self.lens_columns[number]] = by_lens.ravel() / sight.spread
            by_point = by_place @ camera.turn / sight.spread
            for place, point in enumerate(sight.points):
                column = self.first_point + 3 * point
                table[row + 2 * place : row + 2 * place + 2, column : column + 3] = by_point[place]
            row += 2 * len(there)
        every = np.arange(points.size)
        table[row + every, self.first_point + every] = np.repeat(1 / self.spreads, 3)
        row += points.size
        for lens in range(len(self.free)):
            table[row + lens, self.first_point - len(self.free) + lens] = 1 / _LENS_SPREAD
        return table


def _before(camera: Camera, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """The points, those behind the camera laid just in front of it: a step of the refinement may go too far."""
    depths = camera.seen(points)[:, 2]
    least = _NEAREST * max(float(np.median(np.abs(depths))), 1e-9)
    return np.asarray(points + np.outer(np.maximum(least - depths, 0.0), camera.turn[2]))


def _crossing(vectors: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 3, 3) matrices that take w to the cross product of each vector and w."""
    x, y, z = vectors.T
    none = np.zeros_like(x)
    return np.asarray(np.stack([none, -z, y, z, none, -x, -y, x, none], axis=1).reshape(-1, 3, 3))


def _turning(rotvec: NDArray[np.float64]) -> NDArray[np.float64]:
    """(3, 3) how a rotation turns on when its rotation vector grows: the left Jacobian of SO(3)."""
    angle = float(np.linalg.norm(rotvec))
    cross = _crossing(rotvec[None])[0]
    if angle < 1e-6:
        return np.asarray(np.eye(3) + cross / 2)
    once, twice = (1 - np.cos(angle)) / angle**2, (angle - np.sin(angle)) / angle**3
    return np.asarray(np.eye(3) + once * cross + twice * cross @ cross)


def _huber_on(count: int) -> Callable[[NDArray[np.float64]], NDArray[np.float64]]:
    """Huber's loss on the first residuals, plain squares on the rest, as `least_squares` wants it."""

    def loss(squares: NDArray[np.float64]) -> NDArray[np.float64]:
        rho = np.stack([squares, np.ones_like(squares), np.zeros_like(squares)])
        far = np.flatnonzero(squares[:count] > HUBER**2)
        root = np.sqrt(squares[far])
        rho[:, far] = 2 * HUBER * root - HUBER**2, HUBER / root, -HUBER / (2 * root**3)
        return np.asarray(rho)

    return loss
