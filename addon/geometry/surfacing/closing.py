"""From a cloud to one closed surface: sharp where points are dense, smooth where nothing was seen."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import binary_dilation
from scipy.spatial import cKDTree

from ..bricks import CELL_CORNERS, block
from ..clouds.normals import plane_normals
from ..clouds.orientation import agreeing, along_a_tree
from ..clouds.thinning import Thinned, thinned
from ..directions import unit
from ..errors import BadCloud
from ..mesh import Mesh
from ..neighbours import BY_THE_EIGHTH, Arranged, arranged
from ..progress import SILENT, Progress
from .banding import followed
from .far_search import Seen, nearest
from .fills import relaxed
from .implicit import SphereFit
from .poisson import Field, NearField, winding_field
from .walls import drawn_without_handles


@dataclass(frozen=True, eq=False)
class Closed:
    """A closed surface and how it came about.

    `mesh` carries two columns: `distance_from_data_mm` and `confidence`, 1 where points support the surface, falling
    to 0 where it was only filled in. `resolution` is the grid step used, `spacing` the cloud's median, millimetres;
    `pieces_dropped` counts the closed pieces that were not the body, `handles_cut` the small tunnels and bridges taken
    out of it.
    """

    mesh: Mesh
    resolution: float
    spacing: float
    pieces_dropped: int
    handles_cut: int


def closed_surface(
    points: NDArray[np.float64],
    normals: NDArray[np.float64] | None = None,
    colours: NDArray[np.uint8] | None = None,
    resolution: float = 0.0,
    progress: Progress = SILENT,
) -> Closed:
    """The closed 2-manifold surface of the body a cloud was taken from.

    Parameters
    ----------
    points : (n, 3) float array, millimetres, strays removed
    normals : (n, 3) unit vectors out of the body, or None to find them
    colours : (n, 3) uint8 array carried over to the mesh, or None
    resolution : step of the grid the surface is cut from, millimetres; 0 chooses it from the points' spacing
    progress : told how far the work is

    Raises
    ------
    BadCloud
        Too few points, or points that do not surround a body.

    Notes
    -----
    Near the points the surface is that of spheres fitted to them (`implicit`); away from them it is where their
    winding number passes one half (`poisson`), which lies flat across an open neck. Between the two it is blended.
    """
    if len(points) < _FEWEST:
        raise BadCloud(f"{len(points)} points are too few to close a surface over: {_FEWEST} at least")
    progress(0.0, "measuring the spacing")
    spacing = median_spacing(points)
    step = resolution or float(np.clip(_STEPS_PER_SPACING * spacing, *_AUTOMATIC))
    cloud = thinned(points, _THINNING * step)
    held = arranged(cloud.points)
    progress(0.1, "finding which way the surface faces")
    distances, beside = held.nearest(8)
    if normals is None:
        facing = along_a_tree(held.points, plane_normals(held, 16)[0], beside)
    else:
        facing = agreeing(unit(cloud.sums(normals))[held.rows], beside)
    progress(0.35, "telling inside from outside")
    reach = _spacings(distances)
    coarse = _Coarse.made(held, facing, reach, _COARSER * step)
    progress(0.45, "fitting the surface")
    origin = held.points.min(axis=0) - 10 * step
    weights = np.minimum(cloud.counts[held.rows], 8).astype(np.float64)
    kernel = float(np.interp(spacing, _KERNEL_AT, _KERNEL))
    fit = SphereFit(held, facing, weights, kernel * reach, round(4 * kernel * kernel + 3))
    seen_nodes = Seen.made(held, origin, step, np.hypot(_UNSEEN * np.maximum(reach, step), _OVER * step))

    def field(nodes: NDArray[np.int64]) -> NDArray[np.float64]:
        places = origin + nodes * step
        seen = np.flatnonzero(seen_nodes.at(nodes))
        near = fit.near_nodes(nodes[seen], origin, step)
        over = np.minimum(np.abs(near.distance), _OVER * step)  # that a node lies off the surface says nothing of a gap
        aside = np.sqrt(np.maximum(near.gap**2 - over**2, 0.0))
        apart = (aside / np.maximum(reach[near.row], step) - _SEEN) / (_UNSEEN - _SEEN)
        outside = (near.lean - _RIM) / (_PAST_RIM - _RIM)
        ruled = np.clip(np.maximum(apart, outside), 0, 1)
        beyond, value = np.ones(len(nodes)), np.zeros(len(nodes))
        beyond[seen], value[seen] = ruled * ruled * (3 - 2 * ruled), near.distance - _LACK * step * step * near.bend
        far = np.flatnonzero(beyond)
        value[far] += beyond[far] * (coarse.distance(places[far]) - value[far])
        return value

    starts = np.concatenate([held.points, coarse.crossings(step, held.points)])
    band = followed(np.floor((starts - origin) / step).astype(np.int64), field)
    progress(0.85, "drawing the surface")
    drawn = drawn_without_handles(band, field, origin, step, _LONGEST_LOOP)
    progress(0.95, "carrying colours over")
    mesh = _with_columns(drawn.mesh, cloud, held, reach, step, colours)
    return Closed(mesh, step, spacing, drawn.pieces_dropped, drawn.walls)


_FEWEST = 100
_LONGEST_LOOP = 40.0  # millimetres round a tunnel or bridge that is taken for a fault of the scan
_STEPS_PER_SPACING, _AUTOMATIC = 1.2, (0.8, 2.0)
_THINNING = 0.8  # side of the cells that points are averaged in, of a grid step
_COARSER = 4.0  # grid steps in one of the coarse grid
# Spacings that a point's word reaches, at two spacings of the cloud in mm: 11 points have a say at each place, or 18
# where they lie so far apart that a clump of lashes left in the scan is made of few.
_KERNEL, _KERNEL_AT = (1.9, 2.4), (0.5, 0.8)
# A round surface comes out too slight: the mean of points on it lies within, and so does a flat triangle between its
# vertices. On balls both together lack this much, in squared grid steps times half the curvature, whatever their size.
_LACK = 0.7
_WIDEST = 5.0  # spacing, of the median one, from which points no longer make a surface
_RIM, _PAST_RIM = 0.5, 0.8  # leans between which the points' word gives way: a straight rim has 0.26
# Gaps, in spacings of the cloud there, up to which the points rule and from which they don't. Where points lie far
# apart, what is fitted to them bulges off a thin ear soon after; what it says between them is still worth its while.
_SEEN, _UNSEEN = 1.25, 1.9
_OVER = 1.5  # grid steps a node of a cell that the surface passes through may lie off it
_SURE, _UNSURE = 1.5, 3.5  # gaps, in spacings, up to which a place is believed and from which it is not


def median_spacing(points: NDArray[np.float64]) -> float:
    """The side of the square a point has to itself, the median over a thousand of them, in the points' unit.

    By the seventh nearest other, coinciding points left out: within 2 % of what `Arranged.spacing` tells by the eighth
    on captures of 30,000 to 200,000 points, but the grid's step, and with it every surface, hangs on this one.
    """
    chosen = np.unique(np.linspace(0, len(points) - 1, 1000).astype(np.int64))
    distances, _ = cKDTree(points, 200, balanced_tree=False).query(points[chosen], 8, workers=-1)
    apart = np.where(distances > 0, distances, np.inf)
    last = np.where(np.isfinite(apart), apart, 0.0).max(axis=1)
    if not last.any():
        raise BadCloud("the points all lie in one place")
    return float(np.median(last[last > 0])) * float(np.sqrt(np.pi / 7.5))


def _spacings(distances: NDArray[np.float64]) -> NDArray[np.float64]:
    """(u,) the side of the square each point has to itself, by its eight nearest; a stray's is not believed."""
    sides = distances[:, -1] * BY_THE_EIGHTH
    believed: NDArray[np.float64] = np.minimum(sides, _WIDEST * np.median(sides))
    return believed


@dataclass(frozen=True, eq=False)
class _Coarse:
    """The winding number on a coarse grid, read as a distance of the right sign.

    Within a cell or two of the points the grid blurs the step it takes there, so that a moat would run round what is
    filled in: there `near` gives what the points themselves say.
    """

    field: Field
    near: NearField
    level: float
    jump: float

    @classmethod
    def made(cls, held: Arranged, facing: NDArray[np.float64], reach: NDArray[np.float64], step: float) -> "_Coarse":
        elements = facing * (reach**2)[:, None]
        sparse = thinned(held.points, 0.5 * step)  # opposite sides of a thin ear cancel, as they should from afar
        size = float(np.ptp(held.points, axis=0).max())
        field = winding_field(sparse.points, sparse.sums(elements), step, 0.25 * size + 4 * step)
        chosen = np.arange(0, len(facing), max(1, len(facing) // 20_000))
        jumps = []
        for away in (1.5, 3.0):  # steps to either side; a rim's share grows with it and is taken out by the difference
            outwards = away * step * facing[chosen]
            jumps.append(field.at(held.points[chosen] - outwards) - field.at(held.points[chosen] + outwards))
        jump = float(np.median(2 * jumps[0] - jumps[1]))
        if jump <= 0.2:
            raise BadCloud("the points do not show which side is inside: clean the cloud, or give it normals")
        return cls(field, NearField(held, elements, step), jump / 2, jump)

    def distance(self, places: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) negative inside, in millimetres near the surface and fainter away from the points."""
        return self._as_distance(self.field.at(places) + self.near.missing(places))

    def _as_distance(self, winding: NDArray[np.float64]) -> NDArray[np.float64]:
        return (self.level - winding) * (2 * self.field.spacing / self.jump)

    def crossings(self, step: float, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Centres of fine cells where the coarse surface passes and no point lies in the coarse cells around."""
        inside = self.field.values > self.level
        case = np.zeros(tuple(n - 1 for n in inside.shape), np.uint8)
        for corner in CELL_CORNERS:
            case += inside[tuple(map(slice, corner, corner + case.shape))]
        taken = np.zeros(case.shape, bool)
        taken[tuple(((points - self.field.origin) / self.field.spacing).astype(np.int64).T)] = True
        cells = np.argwhere((case > 0) & (case < 8) & ~binary_dilation(taken, np.ones((3, 3, 3))))
        ratio = round(self.field.spacing / step)
        offsets = (block(ratio, ratio, ratio) + 0.5) / ratio
        places = self.field.origin + self.field.spacing * (cells[:, None] + offsets).reshape(-1, 3)
        close = np.abs(self._as_distance(self.field.at(places))) < step
        found: NDArray[np.float64] = places[close]
        return found


def _with_columns(
    mesh: Mesh,
    cloud: Thinned,
    held: Arranged,
    reach: NDArray[np.float64],
    step: float,
    colours: NDArray[np.uint8] | None,
) -> Mesh:
    """The mesh with confidence, distance from the data, and the colours of the points around each vertex.

    What no points support is relaxed first.
    """
    count, sure = 1 if colours is None else 4, float(_UNSURE * reach.max())
    apart, rows = nearest(held, mesh.vertices, count, sure)
    spare = apart[:, 0] / np.maximum(reach[rows[:, 0]], step)
    mesh, moved = relaxed(mesh, np.clip((spare - _SEEN) / (_UNSEEN - _SEEN), 0, 1))
    if len(moved):
        apart[moved], rows[moved] = nearest(held, mesh.vertices[moved], count, sure)
    gap = apart[:, 0]
    spare = gap / np.maximum(reach[rows[:, 0]], step)
    confidence = np.clip((_UNSURE - spare) / (_UNSURE - _SURE), 0, 1)
    painted = None
    if colours is not None:
        means = cloud.means(colours)[held.rows]
        weight = 1.0 / (apart + 0.1 * step)
        mixed = np.einsum("vk,vkc->vc", weight, means[rows]) / weight.sum(axis=1, keepdims=True)
        painted = np.clip(np.rint(mixed), 0, 255).astype(np.uint8)
    columns = {"confidence": confidence.astype(np.float32), "distance_from_data_mm": gap.astype(np.float32)}
    return Mesh(mesh.vertices, mesh.triangles, painted, columns)
