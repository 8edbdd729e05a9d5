"""Points laid on the triangles of a mesh, so close that no place of a triangle is far from all of its own.

They make a search for closest places exact, however far away it starts. Let q be a point, p its closest place, at
distance d. If p lies inside a face, the way from q to p is square to the face; on an edge, square to the edge; on a
vertex, p is a sample itself. So with some sample s of that face or edge within `radius` of p, |qs|² <= d² + radius²:
once all samples within that bound of the best distance found have had their triangles looked at, none is closer.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..mesh import Mesh


@dataclass(frozen=True, eq=False)
class Samples:
    """Where the samples are and which triangles they lie on.

    Parameters
    ----------
    points : (k, 3) float64 array, millimetres
    first : (k + 1,) int64 array: sample i lies on `triangles[first[i]:first[i + 1]]`
    triangles : (n,) int32 array
    radius : no place of a triangle is farther from all of its samples, millimetres
    """

    points: NDArray[np.float64]
    first: NDArray[np.int64]
    triangles: NDArray[np.int32]
    radius: float


def samples_of(mesh: Mesh) -> Samples:
    """The vertices in use, with as many points between as large triangles need.

    Notes
    -----
    Triangles are halved across their longest edge until none is much larger than most; their corners are the
    samples. No place of a triangle is farther from its corners than its longest edge over the root of three.
    """
    points, pieces = mesh.vertices, mesh.triangles.astype(np.int64)
    owners = np.arange(len(pieces), dtype=np.int32)
    longest = _edge_lengths(points, pieces).max(axis=0)
    goal, most = 1.5 * float(np.median(longest)), 4 * len(pieces) + 4096
    done, left = longest <= goal, longest > goal
    kept = [(pieces[done], owners[done])]
    radius = float(longest[done].max())
    pieces, owners, longest, count = pieces[left], owners[left], longest[left], len(pieces)
    while len(pieces):
        large = longest > max(goal, longest.max() / 1.5)
        count += int(large.sum())
        if count > most:
            kept.append((pieces, owners))
            radius = float(longest.max())
            break
        points, halves = _halved(points, pieces[large])
        pieces = np.concatenate([pieces[~large], halves])
        owners = np.concatenate([owners[~large], np.tile(owners[large], 2)])
        longest = np.concatenate([longest[~large], _edge_lengths(points, halves).max(axis=0)])
        done, left = longest <= goal, longest > goal
        kept.append((pieces[done], owners[done]))
        radius = max(radius, float(longest[done].max(initial=0.0)))
        pieces, owners, longest = pieces[left], owners[left], longest[left]
    pieces, owners = np.concatenate([each for each, _ in kept]), np.concatenate([each for _, each in kept])
    return _listed(points, pieces, owners, radius / 3**0.5)


def _edge_lengths(points: NDArray[np.float64], pieces: NDArray[np.int64]) -> NDArray[np.float64]:
    """(3, m) lengths of each piece's edges, that from its first corner first."""
    a, b, c = (points.take(pieces[:, k], axis=0) for k in range(3))
    edges = (b - a, c - b, a - c)
    lengths: NDArray[np.float64] = np.sqrt(np.stack([np.einsum("ij,ij->i", edge, edge) for edge in edges]))
    return lengths


def _halved(points: NDArray[np.float64], pieces: NDArray[np.int64]) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """The points with the middles of the longest edges, and both halves of every piece, first ones first."""
    turn = (_edge_lengths(points, pieces).argmax(axis=0)[:, None] + np.arange(3)) % 3
    a, b, c = np.take_along_axis(pieces, turn, axis=1).T
    keys, middle = np.unique(np.minimum(a, b) * len(points) + np.maximum(a, b), return_inverse=True)
    added = (points[keys // len(points)] + points[keys % len(points)]) / 2
    middle = middle.ravel() + len(points)
    halves = np.concatenate([np.column_stack([a, middle, c]), np.column_stack([middle, b, c])])
    return np.concatenate([points, added]), halves


def _listed(
    points: NDArray[np.float64], pieces: NDArray[np.int64], owners: NDArray[np.int32], radius: float
) -> Samples:
    """The samples in use with the triangles each lies on, no triangle twice."""
    keys = np.unique(pieces.ravel() * np.int64(len(owners)) + np.repeat(owners, 3))
    sample, triangle = keys // len(owners), (keys % len(owners)).astype(np.int32)
    starts = np.flatnonzero(np.diff(sample, prepend=-1))
    return Samples(points[sample[starts]], np.append(starts, len(sample)), triangle, radius)
