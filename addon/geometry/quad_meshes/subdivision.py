"""Catmull-Clark subdivision of quad meshes, as one sparse matrix a level."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from .quads import Quads, edges_of


@dataclass(frozen=True, eq=False)
class Refined:
    """A quad mesh one level finer.

    `matrix` (n', n) takes values at the coarse vertices to values at the fine ones; `quads` (4 m, 4) are the fine
    faces, the four of each coarse face one after another, each beginning at a corner of it; `edges` (e, 2) are the
    coarse edges. The fine vertices are the coarse ones in their order, then one an edge, then one a face.
    """

    matrix: csr_array
    quads: NDArray[np.int64]
    edges: NDArray[np.int64]


def refined(quads: Quads, count: int, smooth: bool = True) -> Refined:
    """One level of Catmull-Clark subdivision.

    Parameters
    ----------
    quads : (m, 4) rows of the vertices, a manifold mesh, with or without rims
    count : how many vertices there are
    smooth : False puts each new vertex in the middle of its edge or face and leaves the old ones (texture places)

    Notes
    -----
    Catmull and Clark 1978, doi 10.1016/0010-4485(78)90110-0. A rim becomes the cubic B-spline through its own
    vertices alone (Hoppe and others 1994, doi 10.1145/192161.192233).
    """
    faces = np.asarray(quads, dtype=np.int64)
    edges, of_face, sides = edges_of(faces)
    m, e = len(faces), len(edges)
    face_points = _averages(np.arange(m), faces, 1 / 4, (m, count))
    middles = _averages(np.arange(e), edges, 1 / 2, (e, count))
    fine = np.stack(
        [
            faces,
            count + of_face,
            np.broadcast_to(count + e + np.arange(m)[:, None], (m, 4)),
            count + np.roll(of_face, 1, axis=1),
        ],
        axis=2,
    ).reshape(-1, 4)
    if not smooth:
        return Refined(_stacked(_identity(count), middles, face_points), fine, edges)
    rim_edge = sides == 1
    beside = csr_array((np.ones(4 * m), (of_face.ravel(), np.repeat(np.arange(m), 4))), shape=(e, m))
    inner_edges = 0.5 * middles + 0.25 * (beside @ face_points)
    edge_points = _rows_from(rim_edge, middles, inner_edges)
    on_rim = np.zeros(count, bool)
    on_rim[edges[rim_edge]] = True
    corner_of = csr_array((np.ones(4 * m), (faces.ravel(), np.repeat(np.arange(m), 4))), shape=(count, m))
    end_of = csr_array((np.ones(2 * e), (edges.ravel(), np.repeat(np.arange(e), 2))), shape=(count, e))
    valence = np.maximum(corner_of.sum(axis=1), 1)
    inner = (
        _scaled(1 / valence**2, corner_of @ face_points)
        + _scaled(2 / valence**2, end_of @ middles)
        + _scaled((valence - 3) / valence, _identity(count))
    )
    rim_end = csr_array(
        (np.ones(2 * rim_edge.sum()), (edges[rim_edge].ravel(), np.repeat(np.flatnonzero(rim_edge), 2))),
        shape=(count, e),
    )
    along_rim = 0.25 * (rim_end @ middles) + 0.5 * _identity(count)
    used = np.zeros(count, bool)
    used[faces] = True
    old = _rows_from(~used, _identity(count), _rows_from(on_rim, along_rim, inner))
    return Refined(_stacked(old, edge_points, face_points), fine, edges)


def refined_line(line: NDArray[np.int64], level: Refined, count: int, closed: bool = True) -> NDArray[np.int64]:
    """A line along edges of the coarse mesh as the line of fine vertices that it becomes.

    Parameters
    ----------
    line : (k,) coarse vertices, each joined to the next by an edge
    level : the finer mesh
    count : how many coarse vertices there were
    closed : whether the last is joined to the first
    """
    size = int(level.edges.max()) + 1
    ends = np.sort(np.stack([line, np.roll(line, -1)], axis=1), axis=1)
    keys = level.edges[:, 0] * size + level.edges[:, 1]
    middles = count + np.searchsorted(keys, ends[:, 0] * size + ends[:, 1])
    both: NDArray[np.int64] = np.stack([line, middles], axis=1).ravel()
    return both if closed else both[:-1]


def _averages(rows: NDArray[np.int64], members: NDArray[np.int64], share: float, shape: tuple[int, int]) -> csr_array:
    width = members.shape[1]
    values = np.full(members.size, share)
    return csr_array((values, (np.repeat(rows, width), members.ravel())), shape=shape)


def _identity(count: int) -> csr_array:
    return csr_array((np.ones(count), (np.arange(count), np.arange(count))), shape=(count, count))


def _scaled(factors: NDArray[np.float64], matrix: csr_array) -> csr_array:
    count = len(factors)
    return csr_array((factors, (np.arange(count), np.arange(count))), shape=(count, count)) @ matrix


def _rows_from(mask: NDArray[np.bool_], those: csr_array, others: csr_array) -> csr_array:
    """The rows of the mask from one matrix, the rest from the other."""
    return _scaled(mask.astype(np.float64), those) + _scaled((~mask).astype(np.float64), others)


def _stacked(*matrices: csr_array) -> csr_array:
    from scipy.sparse import vstack

    whole = csr_array(vstack(matrices, format="csr"))
    whole.eliminate_zeros()
    whole.sort_indices()
    return whole
