"""Places where a cloud lies in two parallel sheets, told from steps, wedges and rough hair."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from ..clouds.normals import least_axis
from ..clouds.orientation import along_a_tree
from ..clouds.thinning import thinned
from ..neighbours import Arranged
from ..portions import in_portions
from ..progress import SILENT, Progress


@dataclass(frozen=True, eq=False)
class Sites:
    """Places spread evenly over the cloud, and the two sheets found at each.

    `places`, `normals` (m, 3), the normals turned the same way all over; `rows` (m, k) the points looked at and `upper`
    (m, k) which of them lie in the sheet the normal points to; `gap` (m,) how far that sheet stands over the other, 0
    where there is one sheet only; `lean` (m, 3) the way the upper sheet's points lie aside of the lower one's, in
    radii of the place; `count` how many points the cloud has, `size` how far apart the places are; `noise` the usual
    deviation within a sheet. Millimetres.
    """

    places: NDArray[np.float64]
    normals: NDArray[np.float64]
    rows: NDArray[np.int64]
    upper: NDArray[np.bool_]
    gap: NDArray[np.float64]
    lean: NDArray[np.float64]
    count: int
    size: float
    noise: float

    def regions(self, least: float = 150.0) -> list[NDArray[np.int64]]:
        """Rows of the places of each area, of `least` square millimetres or more, that lies double all over.

        A place counts when most of those around it lie double too, at about the same gap: the strip along a lid's
        margin, where the gap runs from nothing to the lid's thickness, holds no such place.
        """
        double = self.gap != 0
        if not double.any():
            return []
        _, near = cKDTree(self.places).query(self.places, min(21, len(self.places)), workers=-1)
        close = np.linalg.norm(self.places[near] - self.places[:, None], axis=2) < 4 * self.size
        alike = double[near] & (np.abs(self.gap[near] - self.gap[:, None]) < 0.35 * np.abs(self.gap[:, None]) + 0.1)
        share = (alike & close).sum(axis=1) / np.maximum(close.sum(axis=1), 1)
        core = double & (share > _ALL_OVER) & (close.sum(axis=1) >= 6)
        start, end = np.nonzero(close & alike & core[:, None] & core[near])
        links = coo_array((np.ones(len(start), np.int8), (start, near[start, end])), shape=(len(core),) * 2)
        label = np.where(core, connected_components(links, directed=False)[1], -1)
        sizes = np.bincount(label[core], minlength=1)
        large = np.flatnonzero(sizes * self.size**2 >= least)
        found = [np.flatnonzero(label == number) for number in large[np.argsort(-sizes[large], kind="stable")]]
        return [region for region in found if self._agree(region)]

    def _agree(self, region: NDArray[np.int64]) -> bool:
        """Whether overlapping places of a region put the same points into the same sheet, as rough hair does not."""
        times, votes = self.votes(region)
        often = times > 2
        small = len(region) * self.size**2 < _SMALL
        bar = _AGREE_SMALL if small else _AGREE
        return bool(often.any() and np.abs(votes[often] / times[often]).mean() > bar)

    def votes(self, region: NDArray[np.int64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """(n,) how many of a region's places looked at each point, and how often upper less how often lower."""
        rows, upper = self.rows[region].ravel(), self.upper[region].ravel()
        times = np.bincount(rows, minlength=self.count).astype(np.float64)
        votes = np.bincount(rows, np.where(upper, 1.0, -1.0), self.count).astype(np.float64)
        return times, votes

    def means(self, region: NDArray[np.int64], values: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n,) mean, over the region's places that looked at a point, of what each place says; 0 where none did."""
        rows = self.rows[region]
        told = np.repeat(values, rows.shape[1])
        total = np.bincount(rows.ravel(), told, self.count)
        mean: NDArray[np.float64] = total / np.maximum(np.bincount(rows.ravel(), minlength=self.count), 1)
        return mean

    def upper_ends(self, region: NDArray[np.int64]) -> bool:
        """Whether the upper sheet is the one that ends with a region; the other goes on as the body's skin.

        At the region's border the sheet that goes on reaches farther out.
        """
        tree = cKDTree(self.places[region])
        apart, nearest = tree.query(self.places, distance_upper_bound=3 * self.size, workers=-1)
        outside = np.flatnonzero(np.isfinite(apart) & (self.gap == 0))
        if len(outside) >= 8:
            way = self.places[outside] - self.places[region[nearest[outside]]]
            way /= np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12)
            told = np.einsum("ij,ij->i", self.lean[region[nearest[outside]]], way)
            doubt = float(told.std()) / np.sqrt(len(told))
            if abs(told.mean()) > 2 * doubt:
                return bool(told.mean() < 0)
        return bool(self.upper[region].mean() < 0.5)  # no border tells: the sheet of fewer points yields


_ALL_OVER = 0.6  # share of the places around that must lie double
_AGREE = 0.87  # 0.95 to 1 on second skins, 0.65 to 0.85 on rough hair: simulated captures, 200,000 points
_SMALL, _AGREE_SMALL = 600.0, 0.93  # square millimetres under which hair now and then agrees as well: up to 0.9
_LOOKED_AT = 48  # points a place is judged by
_CHUNK = 1_000


def twin_sheets(held: Arranged, widest: float, progress: Progress = SILENT) -> Sites:
    """Look for two sheets at places a few spacings apart all over a cloud.

    Parameters
    ----------
    held : the points, arranged; at least fifty
    widest : the widest gap between sheets looked for, millimetres
    progress : told how far the work is

    Notes
    -----
    Through the points of a place goes one quadric, taken twice at a gap: least squares, each point in the sheet that
    is nearer, in turn until none changes. It lies double when the gap is clear of the scatter within the sheets, few
    points lie between, both sheets hold points all over the place (at a step or a margin they lie side by side), and
    the gap is as wide on one side of it as on the other (in a wedge it is not). The method is ours.
    """
    sample = held.points[:: max(1, len(held.points) // 2000)]
    spacing = float(np.median(held.tree.query(sample, 9, workers=-1)[0][:, -1])) * float(np.sqrt(np.pi / 8.5))
    size = max(2.0, 2 * spacing)
    places = thinned(held.points, size).points
    count = min(_LOOKED_AT, len(held.points))
    tree = held.tree  # made before threads ask for it
    found: list[tuple[NDArray[np.generic], ...]] = [()] * -(-len(places) // _CHUNK)

    def judged(part: slice) -> None:
        found[part.start // _CHUNK] = _judged(held.points, tree, places[part], count, widest)

    in_portions(len(places), _CHUNK, judged, progress, "looking for sheets that lie over each other")
    normals, rows, upper, gap, lean, scatter, single, fair = (np.concatenate(each) for each in zip(*found, strict=True))
    noise = float(np.median(single))
    clear = fair & (scatter < 1.5 * noise) & (np.abs(gap) > _CLEAR * scatter)
    _, near = cKDTree(places).query(places, min(9, len(places)), workers=-1)
    turned = along_a_tree(places, normals, near[:, 1:])
    against = np.einsum("ij,ij->i", turned, normals) < 0
    other = against != (gap < 0)
    return Sites(
        places,
        turned,
        rows,
        upper != other[:, None],
        np.where(clear, np.abs(gap), 0.0),
        np.where(other[:, None], -lean, lean),
        len(held.points),
        size,
        noise,
    )


_CLEAR = 3.5  # deviations within a sheet that the gap must hold
_BETWEEN = 0.16  # share of the points that may lie in the middle third of the gap
_SLOPE = 0.12  # millimetres by which the gap may change in a millimetre
_ASIDE = 0.75  # radii by which the middles of both sheets' points may lie apart


def _judged(
    points: NDArray[np.float64], tree: cKDTree, places: NDArray[np.float64], count: int, widest: float
) -> tuple[NDArray[np.generic], ...]:
    """Normals, rows, upper, gap (signed, upper over lower), lean, scatter, scatter of one sheet, and what is fair."""
    distances, rows = tree.query(places, count)
    way = points.take(rows, axis=0) - places[:, None]
    middle = way.mean(axis=1, keepdims=True)
    second = np.einsum("mki,mkj->mij", way - middle, way - middle)
    normal, _ = least_axis(second)
    first = np.cross(normal, np.eye(3)[np.abs(normal).argmin(axis=1)])
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    across = np.cross(normal, first)
    radius = distances[:, -1:]
    x, y, z = (np.einsum("mki,mi->mk", way, axis) for axis in (first, across, normal))
    x, y = x / radius, y / radius
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=2)
    left, weight = _one_sheet(terms, z)
    single = 1.4826 * np.median(np.abs(left), axis=1)
    upper = _split(left)
    for _ in range(8):
        full = np.concatenate([terms, upper[:, :, None].astype(float)], axis=2)
        fit = _least_squares(full, z, weight)
        base = z - np.einsum("mki,mi->mk", terms, fit[:, :6])
        gap = fit[:, 6:]
        away = np.where(upper, base - gap, base)
        scatter = 1.4826 * np.median(np.abs(away), axis=1)
        nearest = np.minimum(np.abs(base), np.abs(base - gap))
        weight = 1 / (1 + (nearest / np.maximum(2 * scatter[:, None], 1e-9)) ** 2)
        fresh = np.abs(base - gap) < np.abs(base)
        if (fresh == upper).all():
            break
        upper = fresh
    share = upper.mean(axis=1)
    middle_third = np.abs(base - gap / 2) < np.abs(gap) / 6
    flat = np.stack([x, y], axis=2)
    heavy = np.maximum(upper.sum(axis=1), 1)[:, None]
    light = np.maximum((~upper).sum(axis=1), 1)[:, None]
    aside = np.einsum("mk,mki->mi", upper.astype(float), flat) / heavy
    aside -= np.einsum("mk,mki->mi", (~upper).astype(float), flat) / light
    slope = np.linalg.norm(_slope(terms, upper, z, weight), axis=1) / radius[:, 0]
    fair = (
        (np.minimum(share, 1 - share) * count >= max(4.5, 0.1 * count))
        & (np.abs(gap[:, 0]) < widest)
        & (middle_third.mean(axis=1) < _BETWEEN)
        & (np.linalg.norm(aside, axis=1) < _ASIDE)
        & (slope < _SLOPE + 0.3 * single / radius[:, 0])
        & ((nearest > 3 * scatter[:, None]).mean(axis=1) < 0.15)
    )
    lean = aside[:, :1] * first + aside[:, 1:] * across
    return normal, rows, upper, gap[:, 0], lean, scatter, single, fair


def _one_sheet(terms: NDArray[np.float64], z: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Heights over one quadric laid through most of each place's points, and the weights it was laid with."""
    weight = np.ones_like(z)
    for _ in range(4):
        left = z - np.einsum("mki,mi->mk", terms, _least_squares(terms, z, weight))
        usual = 1.4826 * np.median(np.abs(left), axis=1)[:, None]
        weight = 1 / (1 + (left / np.maximum(2 * usual, 1e-9)) ** 2)
    return left, weight


def _least_squares(
    terms: NDArray[np.float64], wanted: NDArray[np.float64], weight: NDArray[np.float64]
) -> NDArray[np.float64]:
    """(m, p) weighted least squares at each place, hardly damped."""
    heavy = terms * weight[..., None]
    square = heavy.transpose(0, 2, 1) @ terms + 1e-6 * np.eye(terms.shape[2])
    fit: NDArray[np.float64] = np.linalg.solve(square, heavy.transpose(0, 2, 1) @ wanted[..., None])[..., 0]
    return fit


def _split(left: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Heights parted in two where the parts' means lie farthest apart for their weight (Otsu 1979)."""
    ordered = np.sort(left, axis=1)
    count = left.shape[1]
    below = np.arange(1, count)
    mean_below = np.cumsum(ordered, axis=1)[:, :-1] / below
    mean_above = (ordered.sum(axis=1, keepdims=True) - mean_below * below) / (count - below)
    worth = below * (count - below) * (mean_above - mean_below) ** 2
    few = max(3, count // 12)
    worth[:, : few - 1] = -1
    worth[:, count - few :] = -1
    at = worth.argmax(axis=1)
    bound = 0.5 * (np.take_along_axis(ordered, at[:, None], 1) + np.take_along_axis(ordered, at[:, None] + 1, 1))
    return left > bound


def _slope(
    terms: NDArray[np.float64], upper: NDArray[np.bool_], z: NDArray[np.float64], weight: NDArray[np.float64]
) -> NDArray[np.float64]:
    """(m, 2) how the gap changes across each place, over a radius."""
    mark = upper[:, :, None].astype(float)
    fit = _least_squares(np.concatenate([terms, mark, mark * terms[:, :, 1:3]], axis=2), z, weight)
    return fit[:, 7:]
