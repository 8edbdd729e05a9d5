"""Places where a cloud lies in two parallel sheets, told from steps, wedges and rough hair."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..clouds.orientation import along_a_tree
from ..clouds.thinning import thinned
from ..directions import unit
from ..linked import linked_pieces
from ..neighbours import Arranged
from ..portions import in_portions
from ..progress import SILENT, Progress
from .two_sheets import Sheets, together, two_sheets


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
        label = np.where(core, linked_pieces(start, near[start, end], len(core)), -1)
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
            way = unit(self.places[outside] - self.places[region[nearest[outside]]])
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
    size = max(2.0, 2 * held.spacing())
    places = thinned(held.points, size).points
    count = min(_LOOKED_AT, len(held.points))
    tree = held.tree  # made before threads ask for it
    parts: list[Sheets | None] = [None] * -(-len(places) // _CHUNK)

    def laid(part: slice) -> None:
        parts[part.start // _CHUNK] = two_sheets(held.points, tree, places[part], count, widest)

    in_portions(len(places), _CHUNK, laid, progress, "looking for sheets that lie over each other")
    found = together([part for part in parts if part is not None])
    noise = float(np.median(found.single))
    clear = found.fair & (found.scatter < 1.5 * noise) & (np.abs(found.gap) > _CLEAR * found.scatter)
    _, near = cKDTree(places).query(places, min(9, len(places)), workers=-1)
    turned = along_a_tree(places, found.normals, near[:, 1:])
    against = np.einsum("ij,ij->i", turned, found.normals) < 0
    other = against != (found.gap < 0)
    return Sites(
        places,
        turned,
        found.rows,
        found.upper != other[:, None],
        np.where(clear, np.abs(found.gap), 0.0),
        np.where(other[:, None], -found.lean, found.lean),
        len(held.points),
        size,
        noise,
    )


_CLEAR = 3.5  # deviations within a sheet that the gap must hold
