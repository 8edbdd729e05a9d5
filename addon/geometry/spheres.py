"""Spheres through points: an algebraic start, then a fit of true distances that holds on small caps."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .errors import BadCloud
from .robust import robust_deviation

_ROUNDS = 60
_STILL = 1e-9  # a step shorter than this share of the radius ends the fit


@dataclass(frozen=True, eq=False)
class SphereFit:
    """A fitted sphere, how sure it is, and which points carried it.

    Parameters
    ----------
    centre : (3,) float64 array, the points' unit
    radius : the points' unit
    covariance : (3, 3) float64 array of the centre, the unit squared
    radius_error : one standard deviation of the radius; 0 where it was held
    spread : standard deviation of the distances of the points that count
    weights : (n,) float64 array from 0 (rejected) to 1, in the order of the points
    """

    centre: NDArray[np.float64]
    radius: float
    covariance: NDArray[np.float64]
    radius_error: float
    spread: float
    weights: NDArray[np.float64]


def algebraic_sphere(points: NDArray[np.float64]) -> tuple[NDArray[np.float64], float]:
    """The sphere whose equation the points fulfil best: exact on exact points, too small on noisy small caps.

    Parameters
    ----------
    points : (n, 3) float array, n at least 4 and not in one plane

    Returns
    -------
    (3,) centre and the radius, in the points' unit. Only a start for `fit_sphere`.

    Raises
    ------
    BadCloud
        Fewer than four points, or all in one plane.
    """
    if len(points) < 4:
        raise BadCloud(f"a sphere needs 4 points, here are {len(points)}")
    middle = points.mean(axis=0)
    shifted = points - middle
    size = float(np.sqrt((shifted**2).sum(axis=1).mean()))
    flatness = np.linalg.svd(shifted, compute_uv=False)
    if flatness[2] <= 1e-9 * flatness[0]:
        raise BadCloud("the points lie in one plane: no sphere goes through them")
    scaled = shifted / size
    system = np.column_stack([2 * scaled, np.ones(len(scaled))])
    solution = np.linalg.lstsq(system, (scaled**2).sum(axis=1), rcond=None)[0]
    radius = float(np.sqrt(max(solution[3] + solution[:3] @ solution[:3], 0.0)))
    return solution[:3] * size + middle, radius * size


def fit_sphere(
    points: NDArray[np.float64],
    *,
    radius: float | None = None,
    start: NDArray[np.float64] | None = None,
    noise: float | None = None,
    cut: float = 0.0,
    offsets: NDArray[np.float64] | None = None,
    radius_prior: tuple[float, float] | None = None,
    centre_prior: tuple[NDArray[np.float64], NDArray[np.float64]] | None = None,
) -> SphereFit:
    """The sphere with the least squared distances to the points; unbiased where the algebraic one errs.

    Parameters
    ----------
    points : (n, 3) float array
    radius : held at this value; free if None
    start : (3,) first guess of the centre; the algebraic sphere's if None
    noise : standard deviation of the distances; estimated robustly each round if None
    cut : Tukey's constant in standard deviations: points farther off count for nothing. 0 weighs all points alike.
        4.685 keeps 95 % efficiency on Gaussian noise.
    offsets : (n,) how far outside the sphere each point is known to lie (a lid's thickness); 0 if None
    radius_prior : (mean, standard deviation) of a radius that is neither free nor held
    centre_prior : (3,) mean and (3, 3) covariance of the centre before any point was seen

    Returns
    -------
    SphereFit

    Raises
    ------
    BadCloud
        Too few points for what is asked, or all in one plane with nothing else known.

    Notes
    -----
    Levenberg-Marquardt on the distances (the orthogonal, or geometric, fit); why, and by how much the algebraic
    one is wrong: reference_values.md, section 8. Weights: Tukey's biweight, refreshed every round.
    """
    known = start if start is not None else (None if centre_prior is None else centre_prior[0])
    if known is None:
        known, found_radius = algebraic_sphere(points)
    else:
        if len(points) < (3 if centre_prior is None else 1):
            raise BadCloud(f"a sphere of known place needs 3 points, here are {len(points)}")
        found_radius = float(np.median(np.linalg.norm(points - known, axis=1)))
    if radius is not None:
        found_radius = radius
    elif radius_prior is not None:
        found_radius = radius_prior[0]
    task = _Task(
        points,
        np.zeros(len(points)) if offsets is None else offsets,
        radius is None,
        noise,
        cut,
        radius_prior,
        centre_prior,
    )
    return task.solved(np.append(np.asarray(known, dtype=np.float64), found_radius))


@dataclass(frozen=True, eq=False)
class _Task:
    """One fit: the unknowns are the centre and the radius, four numbers."""

    points: NDArray[np.float64]
    offsets: NDArray[np.float64]
    free_radius: bool
    noise: float | None
    cut: float
    radius_prior: tuple[float, float] | None
    centre_prior: tuple[NDArray[np.float64], NDArray[np.float64]] | None

    def solved(self, unknowns: NDArray[np.float64]) -> SphereFit:
        """Iterate from a first guess until it stands still."""
        damping = 1e-4
        for _ in range(_ROUNDS):
            misses = self.misses(unknowns)
            spread = self.spread(misses)
            weights = self.weights(misses, spread)
            normal, gradient = self.equations(unknowns, misses, weights, spread)
            before = self.cost(unknowns, weights, spread)
            while damping < 1e12:
                step = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), gradient)
                if self.cost(unknowns + step, weights, spread) <= before * (1 + 1e-12):
                    break
                damping *= 10
            unknowns = unknowns + step
            damping = max(damping / 10, 1e-9)
            if float(np.linalg.norm(step)) < _STILL * abs(float(unknowns[3])):
                break
        return self.finished(unknowns)

    def misses(self, unknowns: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) distance of each point outside where the sphere wants it."""
        return np.asarray(np.linalg.norm(self.points - unknowns[:3], axis=1) - unknowns[3] - self.offsets)

    def spread(self, misses: NDArray[np.float64]) -> float:
        """The noise, given or read off the misses so that wild points do not count."""
        if self.noise is not None:
            return self.noise
        if self.cut:
            return max(robust_deviation(misses), 1e-12)
        unknown = 4 if self.free_radius else 3
        return max(float(np.sqrt((misses**2).sum() / max(len(misses) - unknown, 1))), 1e-12)

    def weights(self, misses: NDArray[np.float64], spread: float) -> NDArray[np.float64]:
        """(n,) Tukey's weights of the misses."""
        if not self.cut:
            return np.ones(len(misses))
        share = np.clip(np.abs(misses) / (self.cut * spread), 0.0, 1.0)
        return np.asarray((1 - share**2) ** 2)

    def equations(
        self, unknowns: NDArray[np.float64], misses: NDArray[np.float64], weights: NDArray[np.float64], spread: float
    ) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """The normal equations: a (4, 4) matrix and the (4,) downhill direction, priors included."""
        away = self.points - unknowns[:3]
        lengths = np.maximum(np.linalg.norm(away, axis=1, keepdims=True), 1e-12)
        slopes = np.column_stack([-away / lengths, -np.ones(len(away))])
        slopes[:, 3] *= self.free_radius
        normal = (slopes * weights[:, None]).T @ slopes / spread**2
        gradient = -(slopes * weights[:, None]).T @ misses / spread**2
        if self.centre_prior is not None:
            trust = np.linalg.inv(self.centre_prior[1])
            normal[:3, :3] += trust
            gradient[:3] += trust @ (self.centre_prior[0] - unknowns[:3])
        if not self.free_radius:
            normal[3, 3] += 1.0
        elif self.radius_prior is not None:
            normal[3, 3] += 1 / self.radius_prior[1] ** 2
            gradient[3] += (self.radius_prior[0] - unknowns[3]) / self.radius_prior[1] ** 2
        return normal, gradient

    def cost(self, unknowns: NDArray[np.float64], weights: NDArray[np.float64], spread: float) -> float:
        """The weighted sum of squares the equations lower."""
        total = float((weights * self.misses(unknowns) ** 2).sum()) / spread**2
        if self.centre_prior is not None:
            off = self.centre_prior[0] - unknowns[:3]
            total += float(off @ np.linalg.inv(self.centre_prior[1]) @ off)
        if self.free_radius and self.radius_prior is not None:
            total += (self.radius_prior[0] - float(unknowns[3])) ** 2 / self.radius_prior[1] ** 2
        return total

    def finished(self, unknowns: NDArray[np.float64]) -> SphereFit:
        """The answer with its errors."""
        misses = self.misses(unknowns)
        weights = self.weights(misses, self.spread(misses))
        if weights.sum() <= 0 and self.centre_prior is None:
            raise BadCloud("no point lies near the sphere: start closer to it")
        freedom = max(float(weights.sum()) - (4 if self.free_radius else 3), 1.0)
        spread = float(np.sqrt((weights * misses**2).sum() / freedom)) if self.noise is None else self.noise
        normal, _ = self.equations(unknowns, misses, weights, max(spread, 1e-12))
        if np.linalg.cond(normal) > 1e14:
            raise BadCloud("the points do not fix the sphere: they lie in one plane or along one line")
        covariance = np.linalg.inv(normal)
        error = float(np.sqrt(covariance[3, 3])) if self.free_radius else 0.0
        return SphereFit(unknowns[:3].copy(), float(unknowns[3]), covariance[:3, :3], error, spread, weights)
