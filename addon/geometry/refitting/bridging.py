"""Loose pieces joined into one solid: what overlaps is united, what lies apart gets short bridges."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ..clouds.normals import vertex_normals
from ..distances.closest import ClosestPoint
from ..distances.rays import RayCaster
from ..measures import components, volume
from ..mesh import Mesh
from ..progress import SILENT, Progress
from ..solids.booleans import union
from ..solids.primitives import cylinder

_MOST = 3  # bridges to one piece: more make it no stronger where it breaks
_APART = 4.0  # widths between two of them at least
_AS_NEAR = 1.5  # the second and third only where the gap is no wider than so many times the first's, and a width
_ROOTED = 0.6  # widths a bridge reaches into either piece at most, and of the piece's thickness there


@dataclass(frozen=True, eq=False)
class Joined:
    """The solid, how many pieces it was of at first, how many bridges were set and how long the longest is between the
    pieces, and the (volume, distance) of each piece that lies too far off and stayed loose; millimetres.
    """

    mesh: Mesh
    pieces: int
    bridges: int
    longest: float
    loose: tuple[tuple[float, float], ...]


def joined(mesh: Mesh, reach: float, width: float, progress: Progress = SILENT) -> Joined:
    """A closed mesh of several pieces as one, as far as they lie near enough.

    Parameters
    ----------
    mesh : closed; pieces that face inwards are hollows and go with what is round them
    reach : gap between pieces up to which they are joined
    width : of a bridge

    Raises
    ------
    BadMesh
        The pieces cannot be united as solids.
    """
    solids = _solids(mesh)
    if len(solids) < 2:
        return Joined(mesh, len(solids), 0, 0.0, ())
    progress(0.0, "uniting what overlaps")
    pieces = _solids(union(*solids))
    held, loose = pieces[:1], pieces[1:]
    bars: list[Mesh] = []
    longest = 0.0
    while loose:
        progress(1.0 - len(loose) / len(pieces), f"joining {len(loose)} loose pieces")
        base = _together(held)
        found = [_bars(piece, base, reach, width) for piece in loose]
        if not any(each for each, _ in found):
            break
        bars += [bar for each, _ in found for bar in each]
        longest = max(longest, *(gap for each, gap in found if each))
        held += [piece for piece, (each, _) in zip(loose, found, strict=True) if each]
        loose = [piece for piece, (each, _) in zip(loose, found, strict=True) if not each]
    body = union(*held, *bars) if len(held) > 1 else held[0]
    surface = ClosestPoint(body)
    left = tuple((volume(piece), float(surface.query(piece.vertices)[0].min())) for piece in loose)
    return Joined(_together([_coloured(body, mesh), *loose]), len(solids), len(bars), longest, left)


def _solids(mesh: Mesh) -> list[Mesh]:
    """The pieces, the largest first, each with the hollows within it."""
    number = components(mesh)
    pieces = [mesh.kept(number == each) for each in range(int(number.max(initial=-1)) + 1)]
    sizes = [volume(piece) for piece in pieces]
    outer = [row for row in np.argsort(sizes)[::-1].tolist() if sizes[row] > 0]
    found = [pieces[row] for row in outer]
    for row in range(len(pieces)):
        if sizes[row] > 0 or not found:
            continue
        away = [ClosestPoint(piece).query(pieces[row].vertices[:1])[0][0] for piece in found]
        nearest = int(np.argmin(away))
        found[nearest] = _together([found[nearest], pieces[row]])
    return found


def _together(pieces: list[Mesh]) -> Mesh:
    """Several meshes as one, with their colours where all have them."""
    starts = np.cumsum([0, *(len(piece.vertices) for piece in pieces)])
    colours = [piece.colours for piece in pieces if piece.colours is not None]
    return Mesh(
        np.vstack([piece.vertices for piece in pieces]),
        np.vstack([piece.triangles + start for piece, start in zip(pieces, starts, strict=False)]).astype(np.int32),
        np.vstack(colours) if len(colours) == len(pieces) else None,
    )


def _bars(piece: Mesh, base: Mesh, reach: float, width: float) -> tuple[list[Mesh], float]:
    """Bridges from a piece to what it is joined to, none where it is too far off; and the longest gap they span."""
    away, _, place = ClosestPoint(base).query(piece.vertices, reach)
    near = np.flatnonzero(away <= reach)
    chosen: list[int] = []
    for row in near[np.argsort(away[near], kind="stable")].tolist():
        if chosen and away[row] > _AS_NEAR * away[chosen[0]] + width:
            break
        if all(np.linalg.norm(piece.vertices[row] - piece.vertices[other]) > _APART * width for other in chosen):
            chosen.append(row)
        if len(chosen) == _MOST:
            break
    if not chosen:
        return [], 0.0
    ends = place[chosen] - piece.vertices[chosen]
    length = np.linalg.norm(ends, axis=1, keepdims=True)
    ways = np.where(length > 1e-6, ends / np.maximum(length, 1e-12), vertex_normals(piece)[chosen])
    starts = piece.vertices[chosen] - _rooted(piece, piece.vertices[chosen], -ways, width) * ways
    stops = place[chosen] + _rooted(base, place[chosen], ways, width) * ways
    bars = [cylinder(start, stop, width / 2) for start, stop in zip(starts, stops, strict=True)]
    return bars, float(away[chosen].max())


def _rooted(
    solid: Mesh, places: NDArray[np.float64], inwards: NDArray[np.float64], width: float
) -> NDArray[np.float64]:
    """(n, 1) how far a bridge reaches into a solid: not out of its other side."""
    start = 1e-3 * width
    through, _ = RayCaster(solid).first_hit(places + start * inwards, inwards, farthest=width)
    return np.asarray(_ROOTED * np.minimum(width, through + start))[:, None]


def _coloured(body: Mesh, mesh: Mesh) -> Mesh:
    """The joined solid in the colours of what lies nearest."""
    if mesh.colours is None:
        return body
    nearest = cKDTree(mesh.vertices).query(body.vertices, workers=-1)[1]
    return Mesh(body.vertices, body.triangles, mesh.colours[nearest])
