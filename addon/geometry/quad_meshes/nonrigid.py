"""A mesh of quads drawn onto a surface: stiff at first, softer step by step; x, y and z are solved apart."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_array, csr_array
from scipy.sparse.linalg import LinearOperator, cg, splu

from ..progress import SILENT, Progress
from .coarser import prolongation
from .goal import Goal
from .quads import Quads, averaging, quad_normals

_SLIDE = 0.3  # share of a pull along the surface that is followed; the rest gives way to points held
_HELD = 1e2  # weight of a pair of points beside a vertex's pull, and beside the stiffness where that is more
_BENDING_LAST, _HELD_LAST = 0.1, 10.0  # of a finer level's last bit of the way: against a vertex's pull of 1


@dataclass(frozen=True, eq=False)
class Stage:
    """One stiffness of a fit: `bending` against a vertex's pull of 1, the pull's `reach` (mm), how many `turns`."""

    bending: float
    reach: float
    turns: int = 1


@dataclass(frozen=True, eq=False)
class Wanted:
    """Where vertices belong.

    Parameters
    ----------
    goal : the surface
    rows, places : (k,) vertices and the (k, 3) places they belong at
    trust : (n,) share of its pull each vertex follows, or one for all; less where folds lie close together (ears)
    """

    goal: Goal
    rows: NDArray[np.int64]
    places: NDArray[np.float64]
    trust: NDArray[np.float64] | float = 1.0


COARSE = (Stage(3e3, 12.0), Stage(3e2, 8.0, 2), Stage(3e1, 5.0, 2))
FINE = (Stage(1e2, 4.0), Stage(1e1, 3.0, 2), Stage(1.0, 2.0, 2))


def fitted(
    vertices: NDArray[np.float64],
    quads: Quads,
    wanted: Wanted,
    stages: Sequence[Stage],
    progress: Progress = SILENT,
    begun: NDArray[np.float64] | None = None,
) -> NDArray[np.float64]:
    """The vertices drawn onto the goal.

    Parameters
    ----------
    vertices : (n, 3) array, near the goal already; its shape is what is kept where nothing draws
    quads : (m, 4) rows of them
    wanted : where they belong
    stages : stiffnesses, falling
    progress : told how far the work is
    begun : (n, 3) where the vertices have come already; what is kept is still the shape of `vertices`

    Notes
    -----
    Optimal step non-rigid registration (Amberg and others 2007, doi 10.1109/CVPR.2007.383165) with displacements
    instead of affine maps, so that one factor serves x, y and z: each step solves (W + bending L'L) d = W (goal -
    start) with L the umbrella Laplacian, W the pulls. What has no pull follows with no bend.
    """
    start = vertices
    bending = _bending(quads, len(vertices))
    moved = np.zeros_like(start) if begun is None else begun - start
    for stage in _turns(stages, progress):
        now = start + moved
        weight, target = _drawn(wanted.goal, now, quad_normals(now, quads), stage.reach)
        weight, target = weight * wanted.trust, target - start
        weight[wanted.rows] = _HELD * max(1.0, stage.bending)
        target[wanted.rows] = wanted.places - start[wanted.rows]
        moved = _solved(_diagonal(weight) + stage.bending * bending, weight[:, None] * target)
    return start + moved


def roughly_fitted(
    vertices: NDArray[np.float64],
    quads: Quads,
    wanted: Wanted,
    stages: Sequence[Stage],
    progress: Progress = SILENT,
) -> NDArray[np.float64]:
    """As `fitted`, by fewer unknowns: what is so stiff moves smoothly, and an eighth of the vertices tell how.

    Notes
    -----
    The same system on the space of fields that `coarser.prolongation` spreads; the nodes alone are drawn, each standing
    for the vertices round it.
    """
    mean = averaging(quads, len(vertices))
    spread, nodes = prolongation(mean, wanted.rows)
    umbrella = csr_array(mean @ spread) - spread
    bending, there = csr_array(umbrella.T @ umbrella), spread[nodes]
    of_rows = np.searchsorted(nodes, wanted.rows)
    share, trusted = len(vertices) / len(nodes), np.broadcast_to(wanted.trust, len(vertices))[nodes]
    moved = np.zeros_like(vertices)
    for stage in _turns(stages, progress):
        now = vertices + moved
        weight, target = _drawn(wanted.goal, now[nodes], quad_normals(now, quads)[nodes], stage.reach)
        weight, target = share * weight * trusted, target - vertices[nodes]
        weight[of_rows] = _HELD * max(1.0, stage.bending)
        target[of_rows] = wanted.places - vertices[wanted.rows]
        system = csr_array(there.T @ _diagonal(weight) @ there) + stage.bending * bending
        moved = spread @ _solved(system, there.T @ (weight[:, None] * target))
    return vertices + moved


def _turns(stages: Sequence[Stage], progress: Progress) -> Iterator[Stage]:
    """Each stage as often as it has turns, telling how far the work is."""
    turns = [stage for stage in stages for _ in range(stage.turns)]
    for done, stage in enumerate(turns):
        progress(done / len(turns), "drawing the base onto the scan")
        yield stage


def detailed(
    vertices: NDArray[np.float64], quads: Quads, wanted: Wanted, reach: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The vertices of a finer level put onto the goal, the last bit of the way.

    Parameters
    ----------
    vertices : (n, 3) array, within about `reach` of the goal where this was seen
    quads : (m, 4) rows of them
    wanted : where they belong
    reach : distance at which the surface's pull has fallen to a half, millimetres

    Returns
    -------
    The vertices, and (n,) the weight each was drawn with: 0 where nothing was seen.

    Notes
    -----
    The same system as in `fitted`, by conjugate gradients: with so little stiffness a few rounds do.
    """
    place, weight = wanted.goal.pulls(vertices, quad_normals(vertices, quads), reach)
    weight = weight * wanted.trust
    place[wanted.rows], weight[wanted.rows] = wanted.places, _HELD_LAST
    umbrella = averaging(quads, len(vertices)) - _diagonal(np.ones(len(vertices)))
    turned = csr_array(umbrella.T)
    system = LinearOperator(
        (len(vertices),) * 2, matvec=lambda x: weight * x + _BENDING_LAST * (turned @ (umbrella @ x)), dtype=np.float64
    )
    inverse = _diagonal(1.0 / (weight + 1.3 * _BENDING_LAST))
    right = weight[:, None] * (place - vertices)
    moves = [cg(system, right[:, axis], rtol=1e-3, maxiter=60, M=inverse)[0] for axis in range(3)]
    return vertices + np.stack(moves, axis=1), weight


def carried(
    vertices: NDArray[np.float64], quads: Quads, rows: NDArray[np.int64], places: NDArray[np.float64]
) -> NDArray[np.float64]:
    """The vertices moved so that some come to their places and the rest follows with as little bend as can be."""
    bending = _bending(quads, len(vertices))
    weight = np.full(len(vertices), 1e-9)
    weight[rows] = 1.0
    target = np.zeros_like(vertices)
    target[rows] = places - vertices[rows]
    return vertices + _solved(_diagonal(weight) + bending, weight[:, None] * target)


def _drawn(
    goal: Goal, now: NDArray[np.float64], normals: NDArray[np.float64], reach: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How strongly each point is drawn, and where to: all of the way over the surface's height, less along it."""
    place, weight = goal.pulls(now, normals, reach)
    over = np.einsum("ij,ij->i", place - now, normals)[:, None] * normals
    return weight, now + over + _SLIDE * (place - now - over)


def _solved(matrix: csr_array, right: NDArray[np.float64]) -> NDArray[np.float64]:
    """The solution of a symmetric positive definite system for all three columns, from one factor.

    Notes
    -----
    Minimum degree on the symmetric pattern: a sixth of the entries of the usual column order on these, no pivoting.
    """
    factor = splu(csc_array(matrix), permc_spec="MMD_AT_PLUS_A", diag_pivot_thresh=0.0, options={"SymmetricMode": True})
    solution: NDArray[np.float64] = factor.solve(np.ascontiguousarray(right))
    return solution


def _bending(quads: Quads, count: int) -> csr_array:
    """(n, n) the square of the umbrella Laplacian."""
    umbrella = averaging(quads, count) - _diagonal(np.ones(count))
    return csr_array(umbrella.T @ umbrella)


def _diagonal(values: NDArray[np.float64]) -> csr_array:
    count = len(values)
    return csr_array((values, np.arange(count), np.arange(count + 1)), shape=(count, count))
