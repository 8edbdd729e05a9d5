"""Hair by formula: caps of known radii, closed or a sheet, with evenly sized faces."""

from itertools import pairwise

import numpy as np
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import icosphere


def sheet(radius, low, level=5):
    """The part of a ball over a height `low`, open below."""
    ball = icosphere(level, radius)
    return ball.kept(ball.corners[:, :, 2].min(axis=1) > low)


def cap(inner, outer, low, level=5):
    """A closed shell between two radii over the height `low` of the inner one, its rim a wall of faces."""
    top = sheet(inner, low, level)
    count = len(top.vertices)
    edges = top.triangles[:, [[0, 1], [1, 2], [2, 0]]].reshape(-1, 2)
    both = {tuple(edge) for edge in edges.tolist()}
    start, end = np.array([edge for edge in edges.tolist() if (edge[1], edge[0]) not in both]).T
    steps = max(2, round((outer - inner) / np.linalg.norm(top.vertices[start] - top.vertices[end], axis=1).mean()))
    rim = np.unique(start)
    rings = [np.arange(count)]  # inner vertices, then the wall's rows between, then outer vertices
    vertices = [top.vertices]
    for step in range(1, steps):
        row = np.full(count, -1)
        row[rim] = sum(map(len, vertices)) + np.arange(len(rim))
        vertices.append(top.vertices[rim] * (1 + step / steps * (outer / inner - 1)))
        rings.append(row)
    rings.append(sum(map(len, vertices)) + np.arange(count))
    vertices.append(top.vertices * outer / inner)
    wall = []
    for below, above in pairwise(rings):
        wall += [
            np.column_stack([below[start], below[end], above[end]]),
            np.column_stack([below[start], above[end], above[start]]),
        ]
    faces = [top.triangles[:, ::-1], *wall, rings[-1][top.triangles]]
    return Mesh(np.vstack(vertices), np.concatenate(faces).astype(np.int32))
