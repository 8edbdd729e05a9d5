"""Two skins where there should be one: found, measured, and the misplaced one laid back onto the other."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from .neighbours import Arranged, arranged
from .normals import plane_normals
from .progress import SILENT, Progress


@dataclass(frozen=True, eq=False)
class Layer:
    """One second skin: how far off it lay (median, millimetres), its number of points, and its middle."""

    offset: float
    points: int
    middle: NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Merged:
    """The cloud with its second skins laid down, which points were moved, and what was found."""

    points: NDArray[np.float64]
    moved: NDArray[np.bool_]
    layers: tuple[Layer, ...]
    noise: float


def merged_layers(points: NDArray[np.float64], widest: float = 1.2, progress: Progress = SILENT) -> Merged:
    """Find skins that lie over each other and bring them to one.

    Parameters
    ----------
    points : (n, 3) float array, millimetres, strays removed
    widest : the widest gap between two skins that is looked for, millimetres; the far side of a lid is farther
    progress : told how far the work is

    Notes
    -----
    Along its normal a point's neighbours gather at one height or, where skins lie double, at two. A region of such
    points is judged as a whole: the skin that goes on beyond the region's border is the body's, the other was
    misplaced. That one is moved as a rigid piece first, so that its creases come to lie on the body's, and what
    remains is taken up along the normals. The method is ours; no published one was followed.
    """
    places, owner = points.copy(), np.full(len(points), -1)
    noise = 0.0
    for turn in range(_PASSES):  # with one skin laid down the normals are truer, and more of it is seen
        pieces, noise = _second_skins(places, widest, progress.stretch(turn / _PASSES, (turn + 1) / _PASSES))
        for wrong, there in pieces:
            known = owner[wrong]
            new = np.bincount(known[known >= 0]).argmax() if (known >= 0).mean() > 0.2 else owner.max() + 1
            owner[wrong[known < 0]] = new
            places[wrong] = there
        if not pieces:
            break
    move = np.linalg.norm(places - points, axis=1)
    layers = []
    for number in range(owner.max() + 1):
        mine = owner == number
        layers.append(Layer(float(np.median(move[mine])), int(mine.sum()), points[mine].mean(axis=0)))
    progress(1.0, "laid the second skins down")
    return Merged(places, owner >= 0, tuple(layers), noise)


_PASSES = 3


def _second_skins(
    points: NDArray[np.float64], widest: float, progress: Progress
) -> tuple[list[tuple[NDArray[np.int64], NDArray[np.float64]]], float]:
    """Rows of the points of each misplaced skin and where they belong, and the noise; one look at the cloud."""
    held = arranged(points)
    if len(held.points) < 4 * _NEIGHBOURS:
        return [], 0.0
    progress(0.0, "finding normals")
    normals, _ = plane_normals(held, 16)
    _, rows = held.nearest(_NEIGHBOURS)
    noise = _noise(held.points, normals, rows)
    width = max(1.5 * noise, 0.05)
    progress(0.4, "looking for double skins")
    scene = _Scene(held.points, normals, rows, _gaps(held.points, normals, rows, width, widest), width)
    seeds = [region[scene.misplaced(region)] for region in scene.regions()]
    found = []
    for seed in scene.joined([seed for seed in seeds if len(seed) >= _FEWEST]):
        if len(seed) >= _LEAST * len(points):
            wrong = scene.grown(seed)
            places = np.full(held.points.shape, np.nan)
            places[wrong] = scene.laid_back(wrong)
            mine = np.flatnonzero(np.isfinite(places[held.back, 0]))
            found.append((mine, places[held.back[mine]]))
    return found, noise


_NEIGHBOURS = 32
_FEWEST = 100  # points of a patch; fewer are a crease misread
_LEAST = 0.003  # share of the cloud that a second skin holds, all its patches together
_LANDS = 0.15  # share of the neighbours that a moved point must come to lie among
_GROW, _ROUNDS = 8.0, 12  # millimetres round what is known of a skin that are searched for more of it, and how often
_ENOUGH = 0.2  # share of the neighbours that makes a second skin
_CHUNK = 40_000


def _noise(points: NDArray[np.float64], normals: NDArray[np.float64], rows: NDArray[np.int64]) -> float:
    """The scanner's noise along the normal: the usual height of the nearest neighbours, millimetres."""
    chosen = np.arange(0, len(points), max(1, len(points) // 20_000))
    way = points[rows[chosen, :4]] - points[chosen, None]
    heights = np.abs(np.einsum("mki,mi->mk", way, normals[chosen]))
    return 1.4826 * float(np.median(heights)) / float(np.sqrt(2))


def _gaps(
    points: NDArray[np.float64],
    normals: NDArray[np.float64],
    rows: NDArray[np.int64],
    width: float,
    widest: float,
) -> NDArray[np.float64]:
    """(n,) signed height from each point's own skin to the other one there, 0 where there is none."""
    gap = np.zeros(len(points))
    for start in range(0, len(points), _CHUNK):
        part = slice(start, start + _CHUNK)
        way = points[rows[part]] - points[part, None]
        other = normals[rows[part]]
        cosine = np.einsum("mki,mi->mk", other, normals[part])
        height = 0.5 * np.einsum("mki,mki->mk", way, normals[part, None] + other * np.sign(cosine)[..., None])
        alike = (np.abs(cosine) > 0.8) & (np.abs(height) < 1.3 * widest)
        own = _mode(height, alike, np.zeros(len(way)), width)
        away = height - own[:, None]
        best, mass = np.zeros(len(way)), np.zeros(len(way))
        for side in (1, -1):
            beyond = alike & (side * away > 2.5 * width)
            share = beyond.mean(axis=1)
            first = np.einsum("mk,mk->m", beyond, away) / np.maximum(beyond.sum(axis=1), 1)
            there = _mode(away, beyond, first, width)
            close = (beyond & (np.abs(away - there[:, None]) < 2 * width)).mean(axis=1)
            sheet = (close > _ENOUGH) & (close > 0.7 * share) & (np.abs(there) < widest) & (close > mass)
            best[sheet], mass[sheet] = there[sheet], close[sheet]
        gap[part] = best
    return gap


def _mode(
    height: NDArray[np.float64], which: NDArray[np.bool_], start: NDArray[np.float64], width: float
) -> NDArray[np.float64]:
    """The height about which the chosen neighbours gather, climbed to from a start (mean shift)."""
    at = start.copy()
    for _ in range(6):
        weight = which * np.exp(-0.5 * ((height - at[:, None]) / width) ** 2) + 1e-12
        at = np.einsum("mk,mk->m", weight, height) / weight.sum(axis=1)
    return at


@dataclass(frozen=True, eq=False)
class _Scene:
    """The cloud as it lies: points, normals, neighbours, the gap to a second skin at each, and a skin's half width."""

    points: NDArray[np.float64]
    normals: NDArray[np.float64]
    rows: NDArray[np.int64]
    gap: NDArray[np.float64]
    width: float

    def heights(self, which: NDArray[np.int64]) -> NDArray[np.float64]:
        """(m, k) height of each neighbour over the chosen points, along the mean of both normals; nan where folded."""
        near, own = self.rows[which], self.normals[which]
        cosine = np.einsum("mki,mi->mk", self.normals[near], own)
        both = own[:, None] + self.normals[near] * np.sign(cosine)[..., None]
        height = 0.5 * np.einsum("mki,mki->mk", self.points[near] - self.points[which, None], both)
        return np.where(np.abs(cosine) > 0.8, height, np.nan)

    def regions(self) -> list[NDArray[np.int64]]:
        """Rows of the points of each connected region that lies double."""
        double = np.flatnonzero(self.gap != 0)
        start, end = np.repeat(double, 8), self.rows[double, :8].ravel()
        both = self.gap[end] != 0
        size = len(self.points)
        links = coo_array((np.ones(int(both.sum()), np.int8), (start[both], end[both])), shape=(size, size))
        label = connected_components(links, directed=False)[1][double]
        sizes = np.bincount(label)
        return [double[label == number] for number in np.flatnonzero(sizes >= 2 * _FEWEST)]

    def misplaced(self, region: NDArray[np.int64]) -> NDArray[np.bool_]:
        """Which of a region's points belong to the skin that ends with the region."""
        away = self.points[region] - self.points.mean(axis=0)
        out = np.where(np.einsum("ij,ij->i", away, self.normals[region]) < 0, -1.0, 1.0)
        upper = self.gap[region] * out < 0  # the other skin lies below: this point is on the outer one
        single = self.gap[self.rows[region]] == 0
        near = np.abs(self.heights(region)) < np.maximum(2 * self.width, 0.35 * np.abs(self.gap[region, None]))
        level = (single & near).sum(axis=1)
        goes_on = [float(level[upper == side].sum()) / max(int((upper == side).sum()), 1) for side in (False, True)]
        if abs(goes_on[0] - goes_on[1]) > 0.1 * max(goes_on):
            return np.asarray(upper != (goes_on[1] > goes_on[0]))
        return np.asarray(upper != (upper.mean() > 0.5))  # no border tells: the skin of fewer points yields

    def motion(self, wrong: NDArray[np.int64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """The small rigid motion (turn about the points' middle, then shift) that closes their gaps, and what is left.

        Gaps are heights along the normals, so this is one point-to-plane step, weighted against odd ones.
        """
        arm = self.points[wrong] - self.points[wrong].mean(axis=0)
        levers = np.concatenate([np.cross(arm, self.normals[wrong]), self.normals[wrong]], axis=1)
        wanted, weight = self.gap[wrong], np.ones(len(wrong))
        for _ in range(8):
            motion = np.linalg.lstsq(levers * weight[:, None], wanted * weight, rcond=None)[0]
            left = wanted - levers @ motion
            weight = 1.0 / np.sqrt(1.0 + (left / max(self.width, float(np.median(np.abs(left))))) ** 2)
        return motion, left

    def joined(self, seeds: list[NDArray[np.int64]]) -> list[NDArray[np.int64]]:
        """The seeds, those made one that a single motion lays down: pieces of one pass."""
        kept: list[NDArray[np.int64]] = []
        for seed in sorted(seeds, key=len, reverse=True):
            for place, other in enumerate(kept):
                together = np.concatenate([other, seed])
                _, left = self.motion(together)
                if np.median(np.abs(left[len(other) :])) < 1.5 * self.width:
                    kept[place] = together
                    break
            else:
                kept.append(seed)
        return kept

    def grown(self, seed: NDArray[np.int64]) -> NDArray[np.int64]:
        """The seed and every point around that the same motion would lay onto points that stay."""
        chosen = np.zeros(len(self.points), bool)
        chosen[seed] = True
        for _ in range(_ROUNDS):
            wrong = np.flatnonzero(chosen)
            motion, _ = self.motion(seed)
            tree = cKDTree(self.points[wrong], balanced_tree=False)
            near = np.flatnonzero(np.isfinite(tree.query(self.points, distance_upper_bound=_GROW, workers=-1)[0]))
            arm = self.points[near] - self.points[seed].mean(axis=0)
            step = np.einsum("ij,ij->i", np.cross(motion[:3], arm) + motion[3:], self.normals[near])
            height, stays = self.heights(near), ~chosen[self.rows[near]]
            lands = (stays & (np.abs(height - step[:, None]) < 1.5 * self.width)).mean(axis=1)
            level = (stays & (np.abs(height) < 1.5 * self.width)).mean(axis=1)
            joins = near[(lands > _LANDS) & (lands > level) & (np.abs(step) > 2 * self.width)]
            fresh = joins[~chosen[joins]]
            chosen[fresh] = True
            if len(fresh) < 0.01 * len(wrong):
                break
        return np.flatnonzero(chosen)

    def laid_back(self, wrong: NDArray[np.int64]) -> NDArray[np.float64]:
        """New places of the misplaced points: the rigid motion, then along the normals what is left."""
        known = wrong[self.gap[wrong] != 0]
        motion, left = self.motion(known)
        arm = self.points[wrong] - self.points[known].mean(axis=0)
        rest = np.full(len(self.points), np.nan)
        rest[known] = np.clip(left, -3 * self.width, 3 * self.width)
        agree = np.sign(np.einsum("mki,mi->mk", self.normals[self.rows[wrong]], self.normals[wrong]))
        around = rest[self.rows[wrong]] * agree
        heard = np.isfinite(around)
        smooth = np.where(heard, around, 0).sum(axis=1) / np.maximum(heard.sum(axis=1), 1)
        moved: NDArray[np.float64] = (
            self.points[wrong] + np.cross(motion[:3], arm) + motion[3:] + self.normals[wrong] * smooth[:, None]
        )
        return moved


def spread(points: NDArray[np.float64], neighbours: int = 24) -> float:
    """How thick the skin is: robust deviation of the neighbours' heights over their planes, millimetres."""
    held: Arranged = arranged(points)
    normals, _ = plane_normals(held, neighbours)
    _, rows = held.nearest(neighbours)
    chosen = np.arange(0, len(held.points), max(1, len(held.points) // 20_000))
    way = held.points[rows[chosen]] - held.points[chosen, None]
    heights = np.einsum("mki,mi->mk", way, normals[chosen])
    heights -= heights.mean(axis=1, keepdims=True)
    return 1.4826 * float(np.median(np.abs(heights)))
