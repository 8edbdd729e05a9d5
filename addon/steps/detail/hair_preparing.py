"""Hair as it was scanned made ready: its noise smoothed out, its loose locks joined; and what was done in words."""

from dataclasses import dataclass, field, replace
from typing import Any

from scipy.spatial import cKDTree

from ...geometry.distances.sided import Sided
from ...geometry.measures import components, is_watertight
from ...geometry.mending.mesh_noise import mesh_noise
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ...geometry.refitting.bridging import joined
from ...geometry.refitting.gap_judging import LaidAt, judged
from ...geometry.refitting.lock_smoothing import locks_smoothed


@dataclass(frozen=True, eq=False)
class Readied:
    """The hair, with figures (lengths as the workpiece stands) and remarks on what was done to it."""

    hair: Mesh
    figures: dict[str, Any] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()


def smoothed_hair(hair: Mesh, rounds: int, scale: float) -> Readied:
    """The hair without its noise.

    Parameters
    ----------
    hair : at life size
    rounds : see `locks_smoothed`; 0 leaves it
    scale : print size over life size
    """
    if not rounds:
        return Readied(hair)
    smooth = locks_smoothed(hair, rounds)
    before, after = mesh_noise(hair), mesh_noise(smooth)
    said = f"The hair's noise went from {before:.2f} to {after:.2f} mm of life, the grooves between locks left in"
    return Readied(smooth, {"noise_before_mm": scale * before, "noise_after_mm": scale * after}, (said,))


def joined_hair(hair: Mesh, reach: float, bridge: float, scale: float, progress: Progress = SILENT) -> Readied:
    """The hair as one part, as far as its pieces lie near enough.

    Parameters
    ----------
    hair : at life size; a sheet stays as it is
    reach : gap up to which pieces are joined, 0 for none; mm at life size
    bridge : width of a bridge, mm at life size
    scale : print size over life size
    """
    count = int(components(hair).max(initial=-1)) + 1
    if count < 2:
        return Readied(hair, {"hair_pieces": count})
    if not is_watertight(hair):
        lacking = f"The hair is a sheet of {count} pieces: join makes one part of them once thicken is given"
        return Readied(hair, {"hair_pieces": count}, (lacking,) if reach else ())
    if not reach:
        said = f"The hair is of {count} pieces: give join to make one printable part of them"
        return Readied(hair, {"hair_pieces": count}, (said,))
    found = joined(hair, reach, bridge, progress)
    figures = {"hair_pieces": 1 + len(found.loose), "hair_pieces_before": found.pieces, "bridges": found.bridges}
    how = "they overlapped"
    if found.bridges:
        thick, gap = scale * bridge, scale * found.longest
        how = f"{_counted(found.bridges, 'bridge')} {thick:.2f} mm thick over gaps of up to {gap:.2f} mm"
    remarks = [f"{found.pieces - len(found.loose)} pieces of hair became one part: {how}"]
    if found.loose:
        farthest = max(away for _, away in found.loose)
        remarks.append(
            f"{_counted(len(found.loose), 'piece')} of hair up to {farthest:.1f} mm of life off the rest stay loose: "
            "raise join, or take them away"
        )
    return Readied(found.mesh, figures, tuple(remarks))


def _counted(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def joined_where_it_lies(
    laid: LaidAt, surface: Sided, gap: float, reach: float, bridge: float, scale: float, progress: Progress = SILENT
) -> tuple[LaidAt, Readied]:
    """The same for hair that lies at its gap already: what of a bridge would come lower is lifted to it."""
    done = joined_hair(laid.mesh, reach, bridge, scale, progress)
    if done.hair is laid.mesh:
        return laid, done
    away, nearest = cKDTree(laid.mesh.vertices).query(done.hair.vertices, workers=-1)
    height, ways = surface.query(done.hair.vertices)
    vertices = done.hair.vertices.copy()
    low = height < gap
    vertices[low] += (gap - height[low])[:, None] * ways[low]
    mesh = replace(done.hair, vertices=vertices)
    return judged(mesh, laid.under[nearest] & (away < 1e-6), surface, gap, 0), done
