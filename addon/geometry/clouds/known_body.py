"""A scan laid onto the known body it was taken of: how far off it is, and how much too large."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from ..distances.closest import ClosestPoint
from ..distances.deviation import deviation
from ..distances.sampling import spread_over
from ..errors import BadCloud, NotPossible
from ..measures import triangle_normals
from ..mesh import Mesh
from ..progress import SILENT, Progress
from ..transforms import applied, transform
from .registration import registered
from .thinning import thinned


@dataclass(frozen=True, eq=False)
class Laid:
    """A scan on a known body.

    `move` is the (4, 4) rigid motion that lays it there; `size` how many times too large the scan is. `off` (n,) are
    signed deviations after the motion, mm, positive outside, `off_resized` those of the same points when the size is
    put right as well. `met` is the share of the scan that they stand for, 0 to 1; the rest is no part of the body.
    """

    move: NDArray[np.float64]
    size: float
    off: NDArray[np.float64]
    off_resized: NDArray[np.float64]
    met: float


def laid_on(points: NDArray[np.float64], body: Mesh, progress: Progress = SILENT) -> Laid:
    """Lay a scan, however it is turned, onto the body it was taken of.

    Parameters
    ----------
    points : (n, 3) array, mm
    body : its surface; need not be closed

    Raises
    ------
    BadCloud
        There are fewer points than a fit needs.
    BadMesh
        The body has no surface.
    NotPossible
        The scan is of another size altogether, or less than half of it lies within `REACH` wherever it is laid.

    Notes
    -----
    Placed by form as a pass of a scan is (`registration`), then point to plane on the triangles themselves, with the
    size as a seventh unknown (its derivative is the point's own arm), and once more without it.
    """
    if len(points) < _FEWEST:
        raise BadCloud(f"the scan holds {len(points)} points: to be laid on a body it needs {_FEWEST}")
    cell = float(np.linalg.norm(np.ptp(body.vertices, axis=0))) / _CELLS
    some = points[:: max(1, len(points) // _MOST)]
    progress(0.0, "laying the scan on the known body")
    _of_a_size(some, body)
    rough = registered([spread_over(body, cell).points, thinned(some, cell).points])[1].matrix
    progress(0.6, "fitting to its surface")
    surface = _Surface(body)
    resized = surface.fitted(some, rough, REACH, sized=True)
    own = some[surface.apart(applied(resized, some)) <= REACH]
    if 2 * len(own) < len(some):
        raise NotPossible(
            f"{100 * len(own) / len(some):.0f} % of the scan lie within {REACH:g} mm of the known body wherever it is "
            "laid: check that it is the same body, and the units of both"
        )
    resized = surface.fitted(own, resized, np.inf, sized=True)
    move = surface.fitted(own, _rigid(resized, own), np.inf, sized=False)
    progress(0.9, "measuring the deviation")
    off, off_resized = (deviation(applied(matrix, own), body)[0] for matrix in (move, resized))
    return Laid(move, 1.0 / _factor(resized), off, off_resized, len(own) / len(some))


REACH = 5.0
"""What lies farther from the body is no part of it: stand, table, strays. mm; common practice, no source."""

_MOST = 50_000  # points that settle the figures; more only take longer
_FITTED = 8_000  # and so many settle seven unknowns: 0.1 mm of noise then leaves 0.001 mm
_FEWEST = 100
_CELLS = 150  # of the coarse look, along the body's diagonal: some 2 mm on a head
_ROUNDS = 25


def _of_a_size(points: NDArray[np.float64], body: Mesh) -> None:
    """Refuse a scan in another unit than the body's; a part of a body or a few strays are no such thing."""
    scan = float(np.linalg.norm(np.diff(np.percentile(points, (5, 95), axis=0), axis=0)))
    times = scan / float(np.linalg.norm(np.ptp(body.vertices, axis=0)))
    if not 0.1 < times < 5.0:
        raise NotPossible(f"the scan is {times:.2g} times as large as the known body: check the units of both")


class _Surface:
    """The body, for fits to its triangles."""

    def __init__(self, body: Mesh) -> None:
        self._closest = ClosestPoint(body)
        self._normals = triangle_normals(body)

    def apart(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) distances of the points from it, mm."""
        return self._closest.query(points)[0]

    def fitted(
        self, points: NDArray[np.float64], start: NDArray[np.float64], reach: float, sized: bool
    ) -> NDArray[np.float64]:
        """The motion, and with `sized` the similarity, that brings points within reach nearest to its planes."""
        matrix, points = start, points[:: max(1, len(points) // _FITTED)]
        for _ in range(_ROUNDS):
            moved = applied(matrix, points)
            apart, triangle, place = self._closest.query(moved, reach)
            near = np.flatnonzero(apart <= reach)
            if len(near) < _FEWEST:
                break
            normal, middle = self._normals[triangle[near]], moved[near].mean(axis=0)
            arm = moved[near] - middle
            columns = [np.cross(arm, normal), normal]
            if sized:
                columns.append(np.einsum("ij,ij->i", arm, normal)[:, None])
            levers = np.concatenate(columns, axis=1)
            wanted = np.einsum("ij,ij->i", place[near] - moved[near], normal)
            motion = np.linalg.lstsq(levers, wanted, rcond=None)[0]
            turn = Rotation.from_rotvec(motion[:3]).as_matrix() * (1.0 + motion[6] if sized else 1.0)
            matrix = transform(turn, middle + motion[3:6] - turn @ middle) @ matrix
            if np.abs(motion[3:6]).max() < 1e-4 and np.abs(np.delete(motion, (3, 4, 5))).max() < 1e-6:
                break
        return matrix


def _factor(matrix: NDArray[np.float64]) -> float:
    return float(np.cbrt(np.linalg.det(matrix[:3, :3])))


def _rigid(matrix: NDArray[np.float64], points: NDArray[np.float64]) -> NDArray[np.float64]:
    """The similarity without its size, the middle of the points staying where it is."""
    turn, middle = matrix[:3, :3] / _factor(matrix), points.mean(axis=0)
    return transform(turn, applied(matrix, middle) - turn @ middle)
