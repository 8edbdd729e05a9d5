"""Normals made to point out of the body, all of them alike."""

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array
from scipy.sparse.csgraph import breadth_first_order, connected_components, minimum_spanning_tree
from scipy.spatial import cKDTree

from ..directions import unit


def towards_sensors(
    points: NDArray[np.float64],
    normals: NDArray[np.float64],
    sensors: NDArray[np.float64],
    view: NDArray[np.integer[Any]],
) -> NDArray[np.float64]:
    """Normals turned to the scanner that saw each point: nearly free, and right wherever the views are known.

    Parameters
    ----------
    points, normals : (n, 3) float arrays
    sensors : (k, 3) places the scanner stood
    view : (n,) the sensor of each point

    Notes
    -----
    A normal found from noisy points may lean past square to the ray where the surface grazes it. There the sign is
    that of the points around that were seen well; those across a thin part face the other way, as they should.
    """
    facing = np.einsum("ij,ij->i", unit(sensors[view] - points), normals)
    turned = np.where(facing[:, None] < 0, -normals, normals)
    doubtful, sure = np.flatnonzero(np.abs(facing) < _GRAZING), np.flatnonzero(np.abs(facing) >= _GRAZING)
    if len(sure) < 100:
        return turned
    near = sure[cKDTree(points[sure], balanced_tree=False).query(points[doubtful], 8, workers=-1)[1]]
    votes = _agreement(points, turned, np.repeat(doubtful, near.shape[1]), near.ravel()).reshape(near.shape)
    turned[doubtful[votes.sum(axis=1) < 0]] *= -1
    return turned


_GRAZING = 0.6  # cosine between ray and normal


def agreeing(normals: NDArray[np.float64], rows: NDArray[np.int64]) -> NDArray[np.float64]:
    """Normals, but where those beside one agree and it is none of theirs, the mean of theirs.

    A single one the wrong way round, as of a point with a wrong sensor, would make a pit in smooth skin.

    Parameters
    ----------
    normals : (n, 3) unit vectors
    rows : (n, k) neighbours of each point
    """
    around = np.zeros(normals.shape)
    for row in rows.T:
        around += normals.take(row, axis=0, mode="clip")
    length = np.linalg.norm(around, axis=1)
    odd = (length > _ALIKE * rows.shape[1]) & (np.einsum("ij,ij->i", normals, around) < _ODD * length)
    mended: NDArray[np.float64] = np.where(odd[:, None], around / np.maximum(length, 1e-12)[:, None], normals)
    return mended


_ALIKE = 0.75  # length of the mean of normals that agree
_ODD = 0.3  # cosine to that mean under which a normal is none of them


def along_a_tree(
    points: NDArray[np.float64], normals: NDArray[np.float64], rows: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Normals with signs carried from neighbour to neighbour along the safest edges, then turned outward.

    Parameters
    ----------
    points, normals : (n, 3) float arrays, the normals' signs unknown
    rows : (n, k) neighbours of each point, n where there is none

    Notes
    -----
    The spanning tree of Hoppe and others 1992 (doi 10.1145/133994.134011) over edges that reflect one normal onto
    the other (Koenig and Gumhold 2009), so that the two sides of an ear are told apart; signs run down the tree by
    pointer doubling. Each connected piece is turned so that most of it faces away from the middle of the cloud.
    """
    count = len(points)
    signs = np.ones(count)
    tree = _safest_tree(points, normals, rows)
    pieces, label = connected_components(tree, directed=False)
    first = np.unique(label, return_index=True)[1]
    rooted = csr_array(
        (np.ones(tree.nnz + pieces), (np.append(tree.row, np.full(pieces, count)), np.append(tree.col, first))),
        shape=(count + 1, count + 1),
    )
    _, parent = breadth_first_order(rooted, count, directed=False)
    parent = parent[:count].astype(np.int64)
    parent[first] = first
    signs = np.where(_agreement(points, normals, np.arange(count), parent) < 0, -1.0, 1.0)
    signs[first] = 1.0
    while True:
        grand = parent[parent]
        if (grand == parent).all():
            break
        signs, parent = signs * signs[parent], grand
    middle = points.mean(axis=0)
    outward = signs * np.einsum("ij,ij->i", points - middle, normals)
    facing = np.where(np.bincount(label, weights=outward, minlength=pieces) < 0, -1.0, 1.0)
    turned: NDArray[np.float64] = normals * (signs * facing[label])[:, None]
    return turned


def _safest_tree(points: NDArray[np.float64], normals: NDArray[np.float64], rows: NDArray[np.int64]) -> Any:
    """The spanning tree, or trees, of the neighbour graph with the least doubt along its edges, as a COO array."""
    count = len(points)
    start = np.repeat(np.arange(count), rows.shape[1])
    end = rows.ravel()
    held = end < count
    start, end = start[held], end[held]
    way = points[end] - points[start]
    length = np.sqrt(np.einsum("ij,ij->i", way, way))
    slant = np.abs(np.einsum("ij,ij->i", way, normals[start])) + np.abs(np.einsum("ij,ij->i", way, normals[end]))
    doubt = 1.0 - np.abs(_agreement(points, normals, start, end)) + 0.25 * slant / np.maximum(length, 1e-300)
    graph = csr_array((doubt + 1e-6, (start, end)), shape=(count, count))
    return minimum_spanning_tree(graph).tocoo()


def _agreement(
    points: NDArray[np.float64], normals: NDArray[np.float64], start: NDArray[np.int64], end: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Cosine between one end's normal and the other's reflected in the plane halfway between them."""
    way = points[end] - points[start]
    squared = np.maximum(np.einsum("ij,ij->i", way, way), 1e-300)
    ahead = np.einsum("ij,ij->i", way, normals[start])
    behind = np.einsum("ij,ij->i", way, normals[end])
    cosine: NDArray[np.float64] = np.einsum("ij,ij->i", normals[start], normals[end]) - 2 * ahead * behind / squared
    return cosine
