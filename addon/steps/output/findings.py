"""What a check looks for in each part and between parts. Every finding has a value, its limit and a place."""

import numpy as np
from numpy.typing import NDArray

from ...geometry.distances.rays import RayCaster
from ...geometry.measures import components, edge_faults, volume
from ...geometry.mending.intersections import self_intersections
from ...geometry.mesh import Mesh
from ...geometry.printing.cavities import closed_cavities
from ...geometry.printing.fine_features import FineFeature, fine_features
from ...geometry.printing.thickness import Thickness, wall_thickness
from ..workpiece import Check, Eye, Workpiece
from .thin_places import advice_on

LIDS_AT_LEAST = 0.15
"""Lids thinner than this are not printed; between it and the least wall they are told of, for true lids are thin."""
_UNSEEN = 0.02
"""Share of a pixel by which faces may cross unsaid: what lies between them lights it by no more than that. Slivers of a
cut, rounded for a file, cross by a thousandth of a pixel and along whole seams."""
WHOLE = "the whole part"
"""Where a finding is that has no place of its own."""
UNTOLD = 1000.0
"""Millimetres given for a wall where nothing faces the surface across the solid: no limit is larger."""


def at(place: NDArray[np.float64]) -> tuple[float, float, float]:
    """A place as a finding holds it."""
    x, y, z = np.round(place, 3).tolist()
    return x, y, z


def surface_findings(name: str, mesh: Mesh, pixel: float, least: float) -> list[Check]:
    """Edges and faces: open, over-used, flipped, cutting through each other."""
    faults = edge_faults(mesh)
    found = []
    for what, edges, advice in (
        ("open edges", faults.open, "close the head again"),
        ("edges of more than two faces", faults.overused, "close the head again"),
        ("flipped faces", faults.flipped, "turn the faces the same way round"),
    ):
        where = at(mesh.vertices[edges[0]].mean(axis=0)) if len(edges) else ""
        found.append(Check(f"{name}: {what}", len(edges), 0, "edges", not len(edges), where, advice=advice))
    inside_out = not faults and volume(mesh) <= 0
    where = WHOLE if inside_out else ""
    advice = "turn all of its faces round"
    found.append(Check(f"{name}: inside out", int(inside_out), 0, "", not inside_out, where, advice=advice))
    return [*found, _crossing_finding(name, mesh, pixel, least)]


def _crossing_finding(name: str, mesh: Mesh, pixel: float, least: float) -> Check:
    """Faces that cut through others; grave where they run on farther than the least wall is thick.

    Between such faces a slice may be taken for air or for solid. What goes wrong is no wider than they run on, so that
    less than the least wall neither opens a wall nor severs one. Depth does not tell: faces as small as a scan's are
    through each other by no more than their own size, however deep two bodies lie in one another.
    """
    pairs = self_intersections(mesh, deeper_than=_UNSEEN * pixel)
    faces = np.unique(pairs)
    what, advice = f"{name}: faces through each other", "smooth the place, or close the head again"
    if not len(faces):
        return Check(what, 0, 0, "faces", True)
    lows, highs = (extreme(mesh.corners[pairs], axis=2) for extreme in (np.min, np.max))
    low, high = lows.max(axis=1), highs.min(axis=1)  # two faces meet where their boxes overlap
    pieces = components(mesh.kept(faces))[np.searchsorted(faces, pairs[:, 0])]
    reach = max(np.ptp([*low[pieces == one], *high[pieces == one]], axis=0).max() for one in np.unique(pieces))
    where = at((low[0] + high[0]) / 2)
    return Check(what, len(faces), 0, "faces", False, where, bool(reach > least), advice)


def cavity_findings(name: str, mesh: Mesh) -> list[Check]:
    """Hollows that resin cannot leave."""
    voids = closed_cavities(mesh)
    where = at(voids[0].vertices.mean(axis=0)) if voids else ""
    advice = "vent them: trapped resin leaks or cracks the part later"
    return [Check(f"{name}: closed cavities", len(voids), 0, "cavities", not voids, where, advice=advice)]


def wall_findings(
    name: str, mesh: Mesh, piece: Workpiece, least: float, pixel: float, allowed_share: float
) -> list[Check]:
    """Thin walls, the lids told apart from the rest, and what is finer than two pixels; what made them so is told."""
    caster = RayCaster(mesh)
    walls = _walls(mesh, least, caster)
    found = []
    lids = np.zeros(len(walls.thickness), bool)
    for eye in piece.eyes if name == "head" else ():
        own = over_pocket(walls, eye)
        lids |= own
        found.append(_lid_finding(walls.only(own), eye, least))
    rest = walls.only(~lids).as_walls(least)
    share = 100 * rest.share_below(least)
    grave, thin = share > allowed_share, rest.only(np.argsort(rest.thickness)[: int((rest.thickness < least).sum())])
    thinnest, where = _thinnest(rest)
    advice, mostly, where_most = "", "", where
    if len(thin.place):
        # The thinnest first, and as many others, spread over all that are thin, as tell what most of them come from.
        some = thin.only(np.unique(np.linspace(0, len(thin.place) - 1, _ASKED).astype(np.int64)))
        advices = advice_on(piece, name, some.place, some.far_side, least)
        advice, mostly = advices[0], max(set(advices), key=lambda each: (advices.count(each), each))
        where_most = at(((some.place + some.far_side) / 2)[advices.index(mostly)])
    found.append(Check(f"{name}: least wall", thinnest, least, "mm", thinnest >= least, where, grave, advice))
    what, ok = f"{name}: thin walls", share <= allowed_share
    found.append(Check(what, share, allowed_share, "% of surface", ok, where_most, True, mostly))
    return [*found, _fine_finding(name, fine_features(mesh, 2 * pixel, caster), piece, least)]


_ASKED = 200
"""Thin places that are asked what they come from."""


def _fine_finding(name: str, features: list[FineFeature], piece: Workpiece, least: float) -> Check:
    """Edges that thin out to nothing, sheets and needles: less than two pixels broad."""
    what = f"{name}: finer than two pixels"
    if not features:
        return Check(what, 0, 0, "features", True)
    first, place = features[0], np.array(features[0].place)
    words = "an edge thins out to nothing" if first.tapers else f"it is {first.usual:.2f} mm thin"
    (why,) = advice_on(piece, name, place[None], place[None], least)
    advice = f"{words}, {first.across:.1f} mm across, and prints ragged or not at all; {why}"
    return Check(what, len(features), 0, "features", False, at(place), False, advice)


def _walls(mesh: Mesh, least: float, caster: RayCaster) -> Thickness:
    """The walls of a part, looked for as far as ten times the least; farther only where there is none so near."""
    near = wall_thickness(mesh, least / 4, 10 * least, caster=caster)
    return near if np.isfinite(near.thickness).any() else wall_thickness(mesh, least / 4, caster=caster)


def over_pocket(walls: Thickness, eye: Eye) -> NDArray[np.bool_]:
    """Which walls lie between an eye's pocket and the skin, in front of the eye's middle."""
    centre, gaze = np.asarray(eye.centre), np.asarray(eye.gaze)
    reach = eye.pocket_radius * 1.02
    one, other = walls.place - centre, walls.far_side - centre
    in_pocket = np.minimum(np.linalg.norm(one, axis=1), np.linalg.norm(other, axis=1)) <= reach * 1.15
    ahead = np.maximum(one @ gaze, other @ gaze) > 0
    chosen: NDArray[np.bool_] = in_pocket & ahead & np.isfinite(walls.thickness)
    return chosen


def _lid_finding(lids: Thickness, eye: Eye, least: float) -> Check:
    """The thinnest place of the lids; grave where it is too thin to print at all."""
    thinnest, where = _thinnest(lids)
    grave = thinnest < LIDS_AT_LEAST
    advice = f"true lids are thin; they print from about {LIDS_AT_LEAST:g} mm with care, or give the lids a thicker rim"
    return Check(f"head: lids of the {eye.side} eye", thinnest, least, "mm", thinnest >= least, where, grave, advice)


def _thinnest(walls: Thickness) -> tuple[float, tuple[float, float, float] | str]:
    if not np.isfinite(walls.thickness).any():
        return UNTOLD, ""
    row = int(np.argmin(walls.thickness))
    return float(walls.thickness[row]), at((walls.place[row] + walls.far_side[row]) / 2)
