"""The lid margins on a surface: the closed curve where the skin leaves the globe. Life size, posed frame."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, median_filter

from ...geometry.angles import arc_tangent
from ...geometry.curves import best_ring
from ...geometry.views.inside_view import InsideView, frame_about
from ..eyes.eye import EyeShape
from ..eyes.fissure import Fissure

SPOKES = 180
"""Directions round the opening in which its margin is looked for: every 2 degrees."""

_STEP = np.radians(0.4)  # along a spoke: 0.08 mm on the globe
_BEND = 0.08  # what a step sideways costs, in steps along the spoke
_SMOOTH = 1.3  # spokes; less than a lid's own bends, more than a scan's teeth


@dataclass(frozen=True, eq=False)
class Opening:
    """The opening between the lids as seen from the globe's centre.

    Parameters
    ----------
    centre : (3,) of the globe
    frame : (3, 3) rows across, up, ahead; ahead points through the middle of the opening
    angles : (SPOKES,) radians from ahead to the margin, spoke after spoke from across over up
    """

    centre: NDArray[np.float64]
    frame: NDArray[np.float64]
    angles: NDArray[np.float64]

    @property
    def directions(self) -> NDArray[np.float64]:
        """(SPOKES, 3) unit vectors from the centre through the margin."""
        return self.spoke_directions(self.angles[:, None])[:, 0]

    def spoke_directions(self, angles: NDArray[np.float64]) -> NDArray[np.float64]:
        """(SPOKES, m, 3) unit vectors at (SPOKES, m) or (1, m) angles from ahead along the spokes."""
        around = (2 * np.pi * np.arange(SPOKES) / SPOKES)[:, None]
        angles = np.broadcast_to(angles, (SPOKES, angles.shape[1]))
        parts = [np.sin(angles) * np.cos(around), np.sin(angles) * np.sin(around), np.cos(angles)]
        return np.asarray(np.stack(parts, axis=-1) @ self.frame)

    def curve(self, view: InsideView, otherwise: float) -> NDArray[np.float64]:
        """(SPOKES, 3) the margin on the surface; `otherwise` is its distance where no surface is seen."""
        distances = view.distances(self.directions)
        distances = np.where(np.isfinite(distances), distances, otherwise)
        # The margin is a step in the surface, where single rays land above or below it: the curve runs evenly between.
        steady = gaussian_filter1d(median_filter(distances, 9, mode="wrap"), 2.0, mode="wrap")
        return np.asarray(self.centre + self.directions * steady[:, None])


def opening_through(curve: NDArray[np.float64], centre: NDArray[np.float64]) -> Opening:
    """The opening whose margin is a closed (k, 3) curve about the way ahead of a globe's centre."""
    ways = curve - centre
    ways = ways / np.linalg.norm(ways, axis=1, keepdims=True)
    low, high = ways[:, [0, 2]].min(axis=0), ways[:, [0, 2]].max(axis=0)
    middle = np.array([(low[0] + high[0]) / 2, 0.0, (low[1] + high[1]) / 2])
    middle[1] = -np.sqrt(max(1.0 - middle @ middle, 0.1))
    frame = frame_about(middle)
    across, up, ahead = (ways @ frame.T).T
    around, angles = arc_tangent(up, across), arc_tangent(np.hypot(across, up), ahead)
    wanted = 2 * np.pi * np.arange(SPOKES) / SPOKES
    order = np.argsort(around)
    return Opening(centre, frame, np.interp(wanted, around[order], angles[order], period=2 * np.pi))


def standing_out(
    view: InsideView, opening: Opening, angles: NDArray[np.float64], shape: EyeShape, axis: NDArray[np.float64]
) -> NDArray[np.float64]:
    """(SPOKES, m) how far the surface stands out of the eye along each spoke, mm; NaN where none is seen."""
    directions = opening.spoke_directions(angles)
    distances = view.distances(directions.reshape(-1, 3)).reshape(directions.shape[:2])
    return np.asarray(distances - shape.reach(directions @ axis))


def between_lids(view: InsideView, opening: Opening, shape: EyeShape, axis: NDArray[np.float64]) -> float:
    """How far the surface within an opening stands out of the eye, the median, mm; below 0 it lies within."""
    angles = np.linspace(0.1, 0.8, 8)[None] * opening.angles[:, None]
    rise = standing_out(view, opening, angles, shape, axis)
    return float(np.median(rise[np.isfinite(rise)])) if np.isfinite(rise).any() else -np.inf


def found_margin(
    view: InsideView, fissure: Fissure, shape: EyeShape, axis: NDArray[np.float64], height: float
) -> Opening:
    """The margin about a globe: where the skin has risen `height` off the eye.

    Parameters
    ----------
    view : from the globe's centre out of the head
    fissure : where the landmarks see the margins, right to within 2 or 3 mm
    shape, axis : of the eye in the scan, cornea included
    height : half a lid's thickness finds the middle of its edge

    Raises
    ------
    NotPossible
        No closed margin runs near the landmarks.

    Notes
    -----
    Along each spoke the cost falls as long as the surface lies on the eye and rises once it has left it, so that a
    lump smaller than what lies beyond it does not stop it; the cheapest closed ring is then searched for. The inner
    corner may come out short of its landmark: the caruncle stands there, not the globe.
    """
    guess = opening_through(fissure.curve(180), view.centre)
    angles = np.arange(1, int(np.radians(70) / _STEP))[None] * _STEP
    rise = standing_out(view, guess, angles, shape, axis)
    lean = np.clip(np.where(np.isfinite(rise), (rise - height) / height, 1.0), -1.0, 1.0)
    lean = gaussian_filter1d(lean, 0.8, axis=0, mode="wrap")
    costs = np.cumsum(lean, axis=1)
    shortest = np.minimum(0.55 * guess.angles, guess.angles - 3.0 / shape.sclera)
    longest = guess.angles + 2.5 / shape.sclera
    costs[(angles < shortest[:, None]) | (angles > longest[:, None])] = np.inf
    ring = best_ring(costs, _BEND, reach=8)
    return replace(guess, angles=gaussian_filter1d(angles[0, ring], _SMOOTH, mode="wrap"))


def opening_size(opening: Opening, radius: float) -> tuple[float, float]:
    """Length and height of the opening on a sphere of that radius, as straight distances, mm."""
    places = radius * opening.directions
    across = places @ opening.frame[0]
    up = places @ opening.frame[1]
    corners = places[int(np.argmin(across))], places[int(np.argmax(across))]
    peaks = places[int(np.argmin(up))], places[int(np.argmax(up))]
    return float(np.linalg.norm(corners[0] - corners[1])), float(np.linalg.norm(peaks[0] - peaks[1]))
