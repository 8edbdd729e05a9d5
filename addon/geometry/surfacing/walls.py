"""Walls put across tunnels and gaps through bridges, in the field a surface is cut from: the surface stays sound."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..bricks import Bricks
from ..measures import components
from ..mesh import Mesh
from .banding import Band, followed
from .grid_box import GridBox, Wall
from .handles import short_loops
from .isosurface import isosurface_of_band

Field = Callable[[NDArray[np.int64]], NDArray[np.float64]]


@dataclass(frozen=True, eq=False)
class Drawn:
    """A closed surface of one piece, the pieces dropped beside it, the walls and gaps it took."""

    mesh: Mesh
    pieces_dropped: int
    walls: int


def drawn_without_handles(
    band: Band, field: Field, origin: NDArray[np.float64], step: float, longest: float, rounds: int = 6
) -> Drawn:
    """The surface of a field in a band, its short tunnels walled up and its thin bridges parted.

    Parameters
    ----------
    band : nodes about the surface and the field there, millimetres, negative inside
    field : gives the values at other nodes
    origin, step : of the grid, millimetres
    longest : loops up to this long round a tunnel or bridge count as faults, millimetres
    rounds : how often the whole surface is looked at again at most

    Notes
    -----
    A disc of two grid steps' thickness across each loop is joined to the body or taken out of it, whichever lowers the
    genus there and changes less. Mending the field rather than the triangles keeps the surface free of crossings.
    Where there is one handle there are often more: a box about the loops is looked at again and again before the whole.
    """
    walls: list[Wall] = []

    def walled(nodes: NDArray[np.int64]) -> NDArray[np.float64]:
        values = field(nodes)
        for wall in walls:
            values = wall.put(origin + nodes * step, values)
        return values

    mesh, dropped = outermost(isosurface_of_band(band.nodes, band.values, 0.0, origin, step))
    for _ in range(rounds):
        loops = [mesh.vertices[loop] for loop in short_loops(mesh, longest)]
        rows, values = Bricks(band.nodes), band.values.copy()
        fresh: list[Wall] = []
        for span, near in _spans(loops, origin, step):
            found = GridBox.cut(band, rows, span, origin, step).walled(near, longest)
            reached = np.flatnonzero(((band.nodes >= span[0] - 8) & (band.nodes <= span[1] + 8)).all(axis=1))
            for wall in found:
                values[reached] = wall.put(origin + band.nodes[reached] * step, values[reached])
            fresh += found
        if not fresh:
            break
        walls += fresh
        cells = np.concatenate([wall.cells(origin) for wall in fresh])
        band = followed(cells, walled, known=Band(band.nodes, values))
        mesh, dropped = outermost(isosurface_of_band(band.nodes, band.values, 0.0, origin, step))
    return Drawn(mesh, dropped, len(walls))


def _spans(
    loops: list[NDArray[np.float64]], origin: NDArray[np.float64], step: float
) -> list[tuple[NDArray[np.int64], list[NDArray[np.float64]]]]:
    """Boxes of nodes, first and last (2, 3), about the loops, none overlapping another, each with its loops."""
    spans: list[tuple[NDArray[np.int64], list[NDArray[np.float64]]]] = []
    for loop in loops:
        inner, near = (loop - origin) / step, [loop]
        span = np.stack([np.floor(inner.min(axis=0)) - _MARGIN, np.ceil(inner.max(axis=0)) + _MARGIN]).astype(np.int64)
        while met := [each for each in spans if ((span[0] <= each[0][1]) & (each[0][0] <= span[1])).all()]:
            spans = [each for each in spans if not any(each is other for other in met)]
            span = np.stack(
                [
                    np.min([span[0], *(box[0] for box, _ in met)], axis=0),
                    np.max([span[1], *(box[1] for box, _ in met)], axis=0),
                ]
            )
            near = [place for _, others in met for place in others] + near
        spans.append((span, near))
    return spans


_MARGIN = 12  # nodes looked at about the loops


def outermost(mesh: Mesh) -> tuple[Mesh, int]:
    """The piece of a closed mesh with the largest volume, and how many others were dropped (islands, cavities)."""
    label = components(mesh)
    if len(label) == 0 or label.max() == 0:
        return mesh, 0
    a, b, c = (mesh.vertices.take(mesh.triangles[:, k], axis=0).T for k in range(3))
    shadow = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])  # twice its area; under it lies the prism
    volumes = np.bincount(label, weights=shadow * (a[2] + b[2] + c[2]))
    return mesh.kept(label == volumes.argmax()), int(label.max())
