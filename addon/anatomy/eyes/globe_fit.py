"""Where the globe lies behind the lids: from landmarks, lid surface and visible sclera, each with its uncertainty.

All lengths are millimetres at life size, in the posed frame. The globe's radius is known, never fitted: on the small
caps a scan shows, a free radius and the depth of the centre trade against each other (reference_values.md, section 8).
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import KDTree

from ...geometry.curves import depth_inside
from ...geometry.errors import BadCloud
from ...geometry.spheres import SphereFit, fit_sphere
from .eye import LID_THICKNESS, LOWER_LID_THICKNESS, EyeShape
from .fissure import Fissure

AHEAD = np.array([0.0, -1.0, 0.0])
"""Out of the face."""

_LANDMARKS_OFF = (1.5, 1.5, 1.5)  # mm, one standard deviation of x, y, z: people differ, and so do landmarks
_LIDS_OFF = (1.0, 0.7, 1.2)  # lids differ in thickness, most of all the fat behind the upper one
_SCLERA_OFF = (0.1, 0.2, 0.12)  # what a scan's smoothing and the globe's unknown size leave
_SHUT = 2.5  # how much larger those variances are where lids are shut: off by 1.8 and 2.9 mm in the head of an MRI
_TARSUS = (5.0, 3.0)
"""How far from the margin the upper and the lower lid lie on the globe, mm: under the one's crease, over the lower part
of the other's tarsal plate, which is 4 to 5 high (from memory); beyond it fat bears the skin away."""
_EDGE = 1.0  # mm; nearer to the margin the lid is rounded off
_TO_NOSE, _TO_TEMPLE = 6.0, 9.0  # mm from the pupil; farther in the tarsi end, and skin goes over to the nose
_DROPS = (0.0, 2.0, 4.0)  # mm; how far under the upper margin that was given another is tried,
_LOW = 5.0  # if so much of the fissure is left
_MANY = 200  # so many points on the sclera are of a capture that shows the margins
_LEAST_POINTS = 15  # fewer say too little
_PLENTY = 50  # by fewer points smoothing leaves more: 0.4 mm of depth by 24 and 31, 0.1 by 50 and more (demo captures)
_ON_IT = 0.15  # mm; a point of the capture this near to the eye lies on it
_RISES = (-1.5, 0.0, 1.5)  # mm over what is known so far, where few points leave several answers
_TUKEY = 4.685
_Fit = tuple[SphereFit, NDArray[np.float64], bool, int]
"""The globe, its corneal axis, whether that was seen, and how many points count."""


@dataclass(frozen=True, eq=False)
class Estimate:
    """A globe's centre, (3,) mm, with its (3, 3) covariance and the name of what it was found from."""

    source: str
    centre: NDArray[np.float64]
    covariance: NDArray[np.float64]

    @property
    def uncertainty(self) -> float:
        """How far the centre may be off, root mean square over all directions, mm."""
        return float(np.sqrt(np.trace(self.covariance)))


@dataclass(frozen=True, eq=False)
class ScleraFit:
    """The globe seen between the lids: the estimate, the corneal axis (straight ahead unless seen), points used."""

    estimate: Estimate
    axis: NDArray[np.float64]
    axis_seen: bool
    points: int
    spread: float


def from_landmarks(fissure: Fissure, radius: float) -> Estimate:
    """The centre from the four landmarks and the published place of the pupil between them.

    Notes
    -----
    Depth: the margins' outer edges stand a lid's half thickness off the globe, those of a closed eye a whole one.
    """
    x, z = fissure.pupil_line()
    off = radius + (LID_THICKNESS / 2 if fissure.is_open else LID_THICKNESS)
    depths = []
    for peak in (fissure.upper, fissure.lower):
        across = min((peak[0] - x) ** 2 + (peak[2] - z) ** 2, 0.8 * off**2)
        depths.append(peak[1] + np.sqrt(off**2 - across))
    doubt = 1.0 if fissure.is_open else _SHUT
    return Estimate("landmarks", np.array([x, np.mean(depths), z]), doubt * np.diag(np.square(_LANDMARKS_OFF)))


def from_lids(points: NDArray[np.float64], fissure: Fissure, radius: float, prior: Estimate) -> Estimate | None:
    """The centre behind the outer surface of both lids, one lid's thickness under it; None if too little is seen."""
    beyond = -depth_inside(points[:, [0, 2]], fissure.curve()[:, [0, 2]])
    off = points - prior.centre
    away = np.linalg.norm(off, axis=1) - radius
    outwards = off[:, 0] if fissure.side == "left" else -off[:, 0]
    over_globe = (np.abs(off[:, 2]) < 10.0) & (np.abs(away - LID_THICKNESS) < 4.0)
    over_globe &= (outwards > -_TO_NOSE) & (outwards < _TO_TEMPLE)
    upper = points[:, 2] > (fissure.upper[2] + fissure.lower[2]) / 2
    on_tarsus = (beyond > _EDGE) & (beyond < np.where(upper, *_TARSUS))
    lids = over_globe & on_tarsus & (off[:, 1] < 0)
    if lids.sum() < _LEAST_POINTS:
        return None
    fit = fit_sphere(
        points[lids],
        radius=radius,
        start=prior.centre,
        noise=0.4,
        cut=_TUKEY,
        offsets=np.where(upper[lids], LID_THICKNESS, LOWER_LID_THICKNESS),
        centre_prior=(prior.centre, 4.0 * prior.covariance),
    )
    doubt = 1.0 if fissure.is_open else _SHUT
    return Estimate("lids", fit.centre, fit.covariance + doubt * np.diag(np.square(_LIDS_OFF)))


def from_sclera(points: NDArray[np.float64], fissure: Fissure, radius: float, prior: Estimate) -> ScleraFit | None:
    """The centre behind the sclera seen between the lids; None where none is seen or it fits no globe.

    Parameters
    ----------
    points : (n, 3) float array, the scan about the eye, noise, lashes and all
    fissure : the landmarks of the lid margins, right to within 2 or 3 mm
    radius : of the globe
    prior : the centre known so far

    Notes
    -----
    A coarse search counts the points a globe explains and those it would stand out of; Levenberg-Marquardt with
    Tukey's weights then settles it. The cornea is masked: about its own axis where its bulge shows, with a wider
    mask about straight ahead where it does not. Points beside a lump (lashes, the margin's fillet) do not count.
    What was taken for the upper margin may be a fold above it: where points are few lower ones are tried as well, from
    several places, and the eye that explains most of what shows is kept.
    """
    shown = _within(points, fissure, radius, prior)
    if not fissure.is_open or len(shown) < _LEAST_POINTS:
        return None
    fits: list[_Fit] = []
    for between, start in _tries(points, fissure, radius, prior):
        found = _settled(between, start, radius, prior)
        fits += [] if found is None else [found]
        if found is not None and found[3] >= _MANY:
            break
    if not fits:
        return None
    fit, axis, axis_seen, used = max(fits, key=lambda each: _explained(shown, each, radius))
    off = np.array(_SCLERA_OFF) * max(1.0, _PLENTY / used)
    estimate = Estimate("sclera", fit.centre, fit.covariance + np.diag(np.square(off)))
    return ScleraFit(estimate, axis, axis_seen, used, fit.spread)


def _within(points: NDArray[np.float64], fissure: Fissure, radius: float, prior: Estimate) -> NDArray[np.float64]:
    """(k, 3) the points that lie within a fissure, not far from the globe."""
    depth = depth_inside(points[:, [0, 2]], fissure.curve()[:, [0, 2]])
    close_by = np.abs(np.linalg.norm(points - prior.centre, axis=1) - radius) < 5.0
    return np.asarray(points[close_by & (depth > -0.5) & (points[:, 1] < prior.centre[1])])


def _tries(
    points: NDArray[np.float64], fissure: Fissure, radius: float, prior: Estimate
) -> Iterator[tuple[NDArray[np.float64], NDArray[np.float64]]]:
    """What may lie between the lids, and where the centre is first looked for: the likeliest of both at first."""
    for lower in (fissure.lowered(drop) for drop in _DROPS):
        between = _within(points, lower, radius, prior)
        if lower.height >= min(fissure.height, _LOW) and len(between) >= _LEAST_POINTS:
            yield between, _searched(between, radius, prior)
            yield from ((between, prior.centre + np.array([0.0, 0.0, rise])) for rise in _RISES)


def _explained(shown: NDArray[np.float64], fit: _Fit, radius: float) -> float:
    """How many of the points lie on this globe, or on its cornea where that was seen; less the farther they lie off."""
    globe, axis, axis_seen, _ = fit
    off = shown - globe.centre
    away = np.linalg.norm(off, axis=1)
    miss = away - (EyeShape(2 * radius).reach(off @ axis / away) if axis_seen else radius)
    return float(np.exp(-((miss / _ON_IT) ** 2)).sum())


def _settled(between: NDArray[np.float64], centre: NDArray[np.float64], radius: float, prior: Estimate) -> _Fit | None:
    """The fit that a first guess of the centre comes to; None where too little lies on the globe."""
    axis, axis_seen = AHEAD, False
    try:
        for _ in range(3):
            seen = between[_clean(between, centre, axis, axis_seen, radius)]
            fit = fit_sphere(
                seen, radius=radius, start=centre, cut=_TUKEY, centre_prior=(prior.centre, prior.covariance)
            )
            centre = fit.centre
            axis, axis_seen = _corneal_axis(between, centre, radius)
    except BadCloud:
        return None
    used = int((fit.weights > 0.1).sum())
    return (fit, axis, axis_seen, used) if used >= _LEAST_POINTS else None


def combined(estimates: list[Estimate]) -> Estimate:
    """All estimates weighted by how sure each is of each direction."""
    trusts = [np.linalg.inv(each.covariance) for each in estimates]
    covariance = np.linalg.inv(np.sum(trusts, axis=0))
    centre = covariance @ np.sum([trust @ each.centre for trust, each in zip(trusts, estimates, strict=True)], axis=0)
    return Estimate("+".join(each.source for each in estimates), centre, covariance)


def _searched(between: NDArray[np.float64], radius: float, prior: Estimate) -> NDArray[np.float64]:
    """The centre whose globe explains most of the points between the lids and stands out of fewest."""
    some = between[:: max(1, len(between) // 1200)]
    trust = np.linalg.inv(prior.covariance)
    centre = prior.centre
    for step, reach in ((1.0, 4), (0.35, 3)):
        ticks = step * np.arange(-reach, reach + 1)
        offsets = np.stack(np.meshgrid(ticks, ticks, ticks, indexing="ij"), axis=-1).reshape(-1, 3)
        scores = [_score(some - (centre + offset), radius) for offset in offsets]
        strain = centre + offsets - prior.centre
        scores = np.array(scores) - 0.02 * np.einsum("ni,ij,nj->n", strain, trust, strain)
        centre = centre + offsets[int(np.argmax(scores))]
    return centre


def _score(off: NDArray[np.float64], radius: float) -> float:
    """Share of the points on the globe, less twice the share inside it; the cornea's cone counts half."""
    away = np.linalg.norm(off, axis=1)
    miss = away - radius
    on_globe = np.maximum(1.0 - (miss / 0.5) ** 2, 0.0)
    cornea = -off[:, 1] > np.cos(EyeShape(2 * radius).limbus_angle) * away
    bulging = cornea & (miss > 0) & (miss < 1.2)
    return float(np.where(bulging, 0.5, on_globe).mean() - 2 * (miss < -0.5).mean())


def _clean(
    between: NDArray[np.float64], centre: NDArray[np.float64], axis: NDArray[np.float64], axis_seen: bool, radius: float
) -> NDArray[np.bool_]:
    """Which points are sclera: off the cornea, and with no lump of lash or lid within 1.2 mm."""
    off = between - centre
    away = np.linalg.norm(off, axis=1)
    mask = EyeShape(2 * radius).limbus_angle + np.radians(2.5 if axis_seen else 6.0)
    sclera = (off @ axis) < np.cos(mask) * away
    miss = away - radius
    lumps = between[(miss > 0.45) & sclera]
    lone = np.ones(len(between), dtype=bool)
    if len(lumps):
        crowd = KDTree(lumps).query_ball_point(between, 1.2, return_length=True)
        company = KDTree(between).query_ball_point(between, 1.2, return_length=True)
        lone = crowd < 0.15 * company
    return np.asarray(sclera & (np.abs(miss) < 1.0) & lone)


def _corneal_axis(
    between: NDArray[np.float64], centre: NDArray[np.float64], radius: float
) -> tuple[NDArray[np.float64], bool]:
    """The axis of the corneal bulge, and whether it shows: else straight ahead."""
    off = between - centre
    away = np.linalg.norm(off, axis=1)
    shape = EyeShape(2 * radius)
    ticks = np.radians(np.arange(-16.0, 16.1, 2.0))
    across, up = (each.ravel() for each in np.meshgrid(ticks, ticks))
    axes = np.column_stack([np.sin(across) * np.cos(up), -np.cos(across) * np.cos(up), np.sin(up)])
    near = np.abs(away - radius - 0.5) < 1.5
    off, away = off[near], away[near]
    misses = [np.minimum(np.abs(away - shape.reach(off @ axis / away)), 0.4).mean() for axis in axes]
    plain = np.minimum(np.abs(away - radius), 0.4).mean()
    best = int(np.argmin(misses))
    if misses[best] < 0.85 * plain:
        return axes[best], True
    return AHEAD, False
