"""A misplaced piece of skin laid back onto the body's: its motion, what else belongs to it, and where it then lies."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..clouds.normals import normals_through
from ..neighbours import Arranged
from ..portions import in_portions


@dataclass(frozen=True, eq=False)
class Piece:
    """Part of a misplaced skin, in a cloud.

    `rows` (m,) of its points, `normals` (m, 3) of the skin there, and `gap` (m,), how far along the normal the body's
    skin lies, signed, millimetres; `body` (k,) rows of points known to be the body's.
    """

    rows: NDArray[np.int64]
    normals: NDArray[np.float64]
    gap: NDArray[np.float64]
    body: NDArray[np.int64]

    def with_(self, other: "Piece") -> "Piece":
        """Both pieces as one."""
        return Piece(
            np.concatenate([self.rows, other.rows]),
            np.concatenate([self.normals, other.normals]),
            np.concatenate([self.gap, other.gap]),
            np.concatenate([self.body, other.body]),
        )


@dataclass(frozen=True, eq=False)
class Motion:
    """A small rigid motion: a turn about a point (as a vector, radians), then a shift."""

    about: NDArray[np.float64]
    turn: NDArray[np.float64]
    shift: NDArray[np.float64]

    def step(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 3) how far each point goes, first order in the turn."""
        step: NDArray[np.float64] = np.cross(self.turn, points - self.about) + self.shift
        return step


def motion_of(points: NDArray[np.float64], piece: Piece, noise: float) -> tuple[Motion, NDArray[np.float64]]:
    """The motion that closes a piece's gaps, and what is left of each: one point-to-plane step, odd gaps set back."""
    at = points[piece.rows]
    about = at.mean(axis=0)
    levers = np.concatenate([np.cross(at - about, piece.normals), piece.normals], axis=1)
    size = max(float(np.abs(at - about).max()), 1e-9)
    damping = np.diag([1e-6 * size**2] * 3 + [1e-6] * 3) * len(at)
    weight = np.ones(len(at))
    for _ in range(8):
        heavy = levers * weight[:, None]
        motion = np.linalg.solve(heavy.T @ levers + damping, heavy.T @ piece.gap)
        left = piece.gap - levers @ motion
        weight = 1.0 / (1.0 + (left / max(noise, float(np.median(np.abs(left))))) ** 2)
    return Motion(about, motion[:3], motion[3:]), left


def joined(points: NDArray[np.float64], pieces: list[Piece], noise: float) -> list[Piece]:
    """The pieces, those made one that a single motion lays down: parts of one pass."""
    kept: list[Piece] = []
    for piece in sorted(pieces, key=lambda each: -len(each.rows)):
        for place, other in enumerate(kept):
            together = other.with_(piece)
            _, left = motion_of(points, together, noise)
            if np.median(np.abs(left[len(other.rows) :])) < max(noise, 0.2 * float(np.median(np.abs(piece.gap)))):
                kept[place] = together
                break
        else:
            kept.append(piece)
    return kept


def laid_down(held: Arranged, piece: Piece, noise: float) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Rows of all points of a misplaced skin, and where they belong.

    Parameters
    ----------
    held : the points, arranged
    piece : what is known of the skin
    noise : deviation of points within a skin, millimetres

    Notes
    -----
    Beyond the piece a point joins it when the motion would lay it among points that stay, and it does not lie among
    such points already. Where the motion runs along the skin there is nothing to close, and points stay.
    """
    motion, left = motion_of(held.points, piece, noise)
    around = _Around(held)
    chosen, fixed, near = np.zeros((3, len(held.points)), bool)
    chosen[piece.rows], fixed[piece.body] = True, True
    fixed &= ~chosen
    fresh = piece.rows
    for _ in range(_ROUNDS):
        tree = cKDTree(held.points[fresh], balanced_tree=False)
        asked = np.flatnonzero(~near & ~chosen & ~fixed)
        apart, _ = tree.query(held.points[asked], distance_upper_bound=_REACH, workers=-1)
        near[asked[np.isfinite(apart)]] = True
        which = np.flatnonzero(near & ~chosen)
        around.look(which)
        which = which[np.abs(around.climbs(which, motion)) > _LEAST_STEP * noise]
        fresh = which[around.lands(which, motion, ~chosen, noise)]
        chosen[fresh] = True
        if len(fresh) < 0.01 * chosen.sum():
            break
    known = np.zeros(len(chosen), bool)
    known[piece.rows] = True
    grown = np.flatnonzero(chosen & ~known)
    chosen[grown] = around.level_with(grown, chosen, noise)
    rows = np.flatnonzero(chosen)
    there: NDArray[np.float64] = held.points[rows] + motion.step(held.points[rows]) + _rest(held, piece, left, rows)
    return rows, there


_REACH, _ROUNDS = 8.0, 10  # millimetres round what is known of a skin searched for more of it, and how often
_LEAST_STEP = 2.0  # deviations that a point must be off to be worth moving
_LANDS = 0.15  # share of the neighbours that a moved point must come to lie among
_COMPANY = 0.4  # share of the points level with one that joined that must have joined too


class _Around:
    """The neighbours of points, and how high they lie over each, along the mean of both normals.

    What is found out of a point is kept, for the same ones are asked about again and again. The tables have a row for
    every point of the cloud, and cost memory only where something was written.
    """

    def __init__(self, held: Arranged) -> None:
        self._held, self._count = held, min(_NEIGHBOURS + 1, len(held.points))
        size = len(held.points)
        self._rows = np.empty((size, self._count - 1), np.int32)
        self._height = np.empty(self._rows.shape, np.float32)
        self._alike = np.empty(self._rows.shape, bool)
        self._normals = np.empty((size, 3))
        self._faces, self._seen = np.zeros((2, size), bool)  # whose normal is known, and whose neighbours

    def look(self, which: NDArray[np.int64]) -> None:
        """Find what is not known yet of these points."""
        new = which[~self._seen[which]]
        self._turn(new)
        theirs = np.zeros(len(self._seen), bool)
        theirs[self._rows[new]] = True
        self._turn(np.flatnonzero(theirs & ~self._faces))

        def measured(part: slice) -> None:
            rows = self._rows[new[part]]
            own, other = self._normals[new[part]], self._normals.take(rows, axis=0)
            way = self._held.points.take(rows, axis=0) - self._held.points[new[part], None]
            cosine = (other @ own[:, :, None])[:, :, 0]
            theirs = (way * other).sum(axis=2)
            self._height[new[part]] = 0.5 * ((way @ own[:, :, None])[:, :, 0] + np.sign(cosine) * theirs)
            self._alike[new[part]] = np.abs(cosine) > 0.8

        in_portions(len(new), _CHUNK, measured)
        self._seen[new] = True

    def _turn(self, which: NDArray[np.int64]) -> None:
        """Find neighbours and normals of these points."""
        points, tree = self._held.points, self._held.tree

        def found(part: slice) -> None:
            _, rows = tree.query(points[which[part]], self._count)
            self._rows[which[part]] = rows[:, 1:]
            self._normals[which[part]], _ = normals_through(points, rows[:, :_PLANE])

        in_portions(len(which), _CHUNK, found)
        self._faces[which] = True

    def climbs(self, which: NDArray[np.int64], motion: Motion) -> NDArray[np.float64]:
        """(m,) how far the motion takes points along their normals."""
        climb: NDArray[np.float64] = np.einsum("ij,ij->i", motion.step(self._held.points[which]), self._normals[which])
        return climb

    def lands(
        self, which: NDArray[np.int64], motion: Motion, stays: NDArray[np.bool_], noise: float
    ) -> NDArray[np.bool_]:
        """Which of the points the motion would lay among points that stay, more than lie level or behind now."""
        found = np.zeros(len(which), bool)
        climb, reach = self.climbs(which, motion).astype(np.float32), np.float32(1.5 * noise)

        def judged(part: slice) -> None:
            mine, step = which[part], climb[part, None]
            alike, height = self._alike[mine], self._height[mine]
            counts = alike & stays.take(self._rows[mine])
            lands = (counts & (np.abs(height - step) < reach)).mean(axis=1)
            level = (counts & (np.abs(height) < reach)).mean(axis=1)
            behind = (alike & (np.abs(height + step) < reach)).mean(axis=1)
            found[part] = (lands > _LANDS) & (lands > 0.7 * level) & (lands > 2 * behind)

        in_portions(len(which), _CHUNK, judged)
        return found

    def level_with(self, which: NDArray[np.int64], chosen: NDArray[np.bool_], noise: float) -> NDArray[np.bool_]:
        """Which of the points lie level mostly with chosen ones: a skin's points keep company."""
        level = self._alike[which] & (np.abs(self._height[which]) < 1.5 * noise)
        share = (level & chosen[self._rows[which]]).sum(axis=1) / np.maximum(level.sum(axis=1), 1)
        found: NDArray[np.bool_] = share > _COMPANY
        return found


_NEIGHBOURS, _PLANE = 32, 25  # neighbours looked at, and points, itself among them, that a normal is found from
_CHUNK = 4_000


def _rest(held: Arranged, piece: Piece, left: NDArray[np.float64], rows: NDArray[np.int64]) -> NDArray[np.float64]:
    """(m, 3) what the motion leaves open at the chosen points: the mean over the piece around, along the normals."""
    tree = cKDTree(held.points[piece.rows], balanced_tree=False)
    open_ = np.clip(left, -0.3, 0.3)[:, None] * piece.normals
    apart, near = tree.query(held.points[rows], min(12, len(piece.rows)), workers=-1)
    weight = np.exp(-((apart / _FADES) ** 2))
    rest: NDArray[np.float64] = np.einsum("mk,mki->mi", weight, open_[near]) / (weight.sum(axis=1) + 1e-3)[:, None]
    return rest


_FADES = 4.0  # millimetres over which what is known of the rest counts
