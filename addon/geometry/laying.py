"""A misplaced piece of skin laid back onto the body's: its motion, what else belongs to it, and where it then lies."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from .neighbours import Arranged
from .normals import plane_normals


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
    normals, _ = plane_normals(held, 24)
    chosen, fixed = np.zeros(len(held.points), bool), np.zeros(len(held.points), bool)
    chosen[piece.rows], fixed[piece.body] = True, True
    fixed &= ~chosen
    for _ in range(_ROUNDS):
        tree = cKDTree(held.points[chosen], balanced_tree=False)
        apart, _ = tree.query(held.points, distance_upper_bound=_REACH, workers=-1)
        near = np.flatnonzero(np.isfinite(apart) & ~chosen & ~fixed)
        step = np.einsum("ij,ij->i", motion.step(held.points[near]), normals[near])
        near = near[np.abs(step) > _LEAST_STEP * noise]
        around = _Around(held, normals, near)
        joins = near[around.lands(motion, ~chosen, noise)]
        chosen[joins] = True
        if len(joins) < 0.01 * chosen.sum():
            break
    known = np.zeros(len(chosen), bool)
    known[piece.rows] = True
    grown = np.flatnonzero(chosen & ~known)
    chosen[grown] = _Around(held, normals, grown).level_with(chosen, noise)
    rows = np.flatnonzero(chosen)
    there: NDArray[np.float64] = held.points[rows] + motion.step(held.points[rows]) + _rest(held, piece, left, rows)
    return rows, there


_REACH, _ROUNDS = 8.0, 10  # millimetres round what is known of a skin searched for more of it, and how often
_LEAST_STEP = 2.0  # deviations that a point must be off to be worth moving
_LANDS = 0.15  # share of the neighbours that a moved point must come to lie among
_COMPANY = 0.4  # share of the points level with one that joined that must have joined too


class _Around:
    """The neighbours of some points, and how high they lie over each, along the mean of both normals."""

    def __init__(self, held: Arranged, normals: NDArray[np.float64], which: NDArray[np.int64]) -> None:
        _, rows = held.tree.query(held.points[which], min(33, len(held.points)), workers=-1)
        self._rows = rows[:, 1:].astype(np.int32)
        self._height = np.empty(self._rows.shape)
        self._alike = np.empty(self._rows.shape, bool)
        self._points, self._normals = held.points[which], normals[which]
        for start in range(0, len(which), _CHUNK):
            part = slice(start, start + _CHUNK)
            own, other = self._normals[part], normals[self._rows[part]]
            cosine = np.einsum("mki,mi->mk", other, own)
            both = own[:, None] + other * np.sign(cosine)[..., None]
            way = held.points[self._rows[part]] - self._points[part, None]
            self._height[part] = 0.5 * np.einsum("mki,mki->mk", way, both)
            self._alike[part] = np.abs(cosine) > 0.8

    def lands(self, motion: Motion, stays: NDArray[np.bool_], noise: float) -> NDArray[np.bool_]:
        """Which of the points the motion would lay among points that stay, more than lie level or behind now."""
        step = np.einsum("ij,ij->i", motion.step(self._points), self._normals)[:, None]
        counts = self._alike & stays[self._rows]
        lands = (counts & (np.abs(self._height - step) < 1.5 * noise)).mean(axis=1)
        level = (counts & (np.abs(self._height) < 1.5 * noise)).mean(axis=1)
        behind = (self._alike & (np.abs(self._height + step) < 1.5 * noise)).mean(axis=1)
        found: NDArray[np.bool_] = (lands > _LANDS) & (lands > 0.7 * level) & (lands > 2 * behind)
        return found

    def level_with(self, chosen: NDArray[np.bool_], noise: float) -> NDArray[np.bool_]:
        """Which of the points lie level mostly with chosen ones: a skin's points keep company."""
        level = self._alike & (np.abs(self._height) < 1.5 * noise)
        share = (level & chosen[self._rows]).sum(axis=1) / np.maximum(level.sum(axis=1), 1)
        found: NDArray[np.bool_] = share > _COMPANY
        return found


_CHUNK = 40_000


def _rest(held: Arranged, piece: Piece, left: NDArray[np.float64], rows: NDArray[np.int64]) -> NDArray[np.float64]:
    """(m, 3) what the motion leaves open at the chosen points: the mean over the piece around, along the normals."""
    tree = cKDTree(held.points[piece.rows], balanced_tree=False)
    open_ = np.clip(left, -0.3, 0.3)[:, None] * piece.normals
    apart, near = tree.query(held.points[rows], min(12, len(piece.rows)), workers=-1)
    weight = np.exp(-((apart / _FADES) ** 2))
    rest: NDArray[np.float64] = np.einsum("mk,mki->mi", weight, open_[near]) / (weight.sum(axis=1) + 1e-3)[:, None]
    return rest


_FADES = 4.0  # millimetres over which what is known of the rest counts
