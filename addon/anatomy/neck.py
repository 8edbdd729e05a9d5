"""Where a head is cut from its neck: below the chin and the ears, where the neck is narrow and upright."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..geometry.errors import NotPossible
from ..geometry.mesh import Mesh
from ..geometry.solids.sections import Outline, Plane, deepest, depths_in, plane, section, sections

LEVELS = 120
"""Sections looked at from the lowest point of the head to the highest."""
STEEP = 0.5
"""Most the mean radius may change per height where there is neck: jaw, shoulders and rounded ends spread faster."""
NECK_OF_HEAD = 0.88
"""Mean radius of neck over head must stay under this (ANSUR II: 0.72 men, 0.63 women, computed from neck
circumference and the ellipse of head length and breadth; hair and a slanting section leave room)."""
HEAD_HEIGHT = 2.4
"""Height of all above the neck over the head's mean radius, least: chin to crown is 2.6 (ANSUR II and Farkas,
computed as above), which a knot of hair on a head does not reach."""
BEHIND_FACE = 0.55
"""How far the neck's front lies behind the foremost point above it, over the head's mean radius of 88 mm, at least: the
nose stands some 30 mm before the chin, and the neck over 40 mm behind that (looked at on heads of ANSUR II means)."""
FLARE = 1.25
"""Once the mean radius has grown by this over the narrowest, the shoulders have begun."""
EVEN = 1.03
"""Levels whose mean radius is within this of the narrowest are as good as it: the cut goes through their middle."""
CLEAR_OF_CUT = 1e-4
"""How far above a cut already made a section is taken, in heights of the head: the cut face is uneven by the steps of
32-bit coordinates (1e-7), and a section through it would be shreds."""
CHIN_BELOW_MOUTH = 2.0
"""How far the chin lies below the mouth, in heights of the upper lip: a third of the lower face lies above the mouth,
two below (the draughtsman's canon; Farkas's means from memory 1 to 2.1 in men, 1 to 2.0 in women)."""
CHIN_BELOW_EYES = 1.0
"""How far the chin lies below the outer corners of the eyes, over the distance between these, least: face height
is 113 less two deviations of 6 mm in women (ANSUR II, reference_values.md section 1), of which some 10 lie above the
corners, and these lie about 90 mm apart (both from memory)."""
BELOW_CHIN = 0.04, 0.50
"""Span below the chin the cut is looked for in, as shares of chin to crown: common practice, no source."""


@dataclass(frozen=True)
class NeckCut:
    """The cut: its plane, whose origin is where a joint's axis meets it and whose up side is the head's.

    `outline` is the neck's on that plane; `width` the diameter of the largest circle round the axis that stays in
    material; `hollow` the share of what the outline spans that is no material; `found` says from what: "landmarks",
    "narrowest section" or "lowest section".
    """

    plane: Plane
    outline: Outline
    width: float
    hollow: float
    found: str


@dataclass(frozen=True)
class _Profile:
    """Mean radius (of the area the largest outline spans) and its foremost place (least y), by height, upwards."""

    heights: NDArray[np.float64]
    radii: NDArray[np.float64]
    fronts: NDArray[np.float64]

    @property
    def recess(self) -> NDArray[np.float64]:
        """How far the front lies behind the foremost place above, over the largest mean radius above."""
        foremost = np.minimum.accumulate(self.fronts[::-1])[::-1]
        largest = np.maximum.accumulate(self.radii[::-1])[::-1]
        return np.asarray((self.fronts - foremost) / np.maximum(largest, 1e-9))

    @property
    def upright(self) -> NDArray[np.bool_]:
        """Where the radius hardly changes with height over a few levels."""
        return np.asarray(np.abs(np.gradient(_smooth(self.radii), self.heights)) <= STEEP)


def find_cut(
    head: Mesh, landmarks: Mapping[str, NDArray[np.float64]] | None = None, raise_by: float = 0.0, tilt: float = 0.0
) -> NeckCut:
    """The plane on which to end a posed head.

    Parameters
    ----------
    head : closed mesh, +z up
    landmarks : (3,) positions by name; gnathion, vertex and the tragia are used where they are there
    raise_by : moves the cut up from where it is found, millimetres
    tilt : turns it about the ear-to-ear axis, radians; positive raises its front

    Returns
    -------
    NeckCut. Where the head ends above the neck, the lowest whole section.

    Raises
    ------
    NotPossible
        The plane meets no material, or the head stands on its crown.
    """
    profile = _profile(head)
    level, found = _level(profile, landmarks or {})
    cut = _centred(head, moved(plane((0.0, 0.0, level), (0.0, 0.0, 1.0)), raise_by))
    cut = _centred(head, moved(cut, tilt=tilt))
    outlines = _outlines(head, cut)
    width = 2 * float(depths_in(outlines, np.zeros((1, 2)))[0])
    material = sum(outline.area for outline in outlines)
    return NeckCut(cut, outlines[0], width, 1.0 - material / outlines[0].span, found)


def moved(level: Plane, raise_by: float = 0.0, tilt: float = 0.0) -> Plane:
    """A level cut moved up by millimetres, then tilted by radians about where it ends up; positive raises its front."""
    return level.raised(raise_by).tilted(tilt)


def narrowest_depth(head: Mesh, cut: Plane, up_to: float) -> float:
    """Least distance from the axis over `cut` to the neck's surface, from the cut to `up_to` above it; negative where
    the axis leaves the neck. Millimetres.
    """
    least = np.inf
    hair = CLEAR_OF_CUT * float(np.ptp(head.vertices, axis=0).max())
    for outlines in sections(head, cut, np.linspace(hair, up_to + hair, 9)):
        least = min(least, float(depths_in(outlines, np.zeros((1, 2)))[0]))
    return least


def _profile(head: Mesh) -> _Profile:
    low, high = head.vertices[:, 2].min(), head.vertices[:, 2].max()
    heights = np.linspace(low, high, LEVELS + 2)[1:-1]
    level = plane((0.0, 0.0, 0.0), (0.0, 0.0, 1.0))
    radii, fronts = np.zeros(LEVELS), np.full(LEVELS, float(head.vertices[:, 1].max()))
    for row, outlines in enumerate(sections(head, level, heights)):
        if outlines:
            radii[row] = np.sqrt(outlines[0].span / np.pi)
            fronts[row] = outlines[0].points[:, 1].min()
    return _Profile(heights, radii, fronts)


def _level(profile: _Profile, landmarks: Mapping[str, NDArray[np.float64]]) -> tuple[float, str]:
    """Height of the cut, and from what it was found."""
    heights, radii = profile.heights, profile.radii
    if "gnathion" in landmarks:
        chin = float(landmarks["gnathion"][2])
        crown = float(landmarks["vertex"][2]) if "vertex" in landmarks else float(heights[-1])
        if crown <= chin:
            raise NotPossible("the chin lies above the crown: run pose first, so that the neck points down")
        ears = [float(landmarks[name][2]) for name in ("tragion-left", "tragion-right") if name in landmarks]
        top = min([chin, *ears]) - BELOW_CHIN[0] * (crown - chin)
        zone = (heights <= top) & (heights >= chin - BELOW_CHIN[1] * (crown - chin))
        found = "landmarks"
    else:
        largest = np.maximum.accumulate(radii[::-1])[::-1]
        zone = (radii <= NECK_OF_HEAD * largest) & (heights[-1] - heights >= HEAD_HEIGHT * largest)
        zone &= heights < _under_face(landmarks)
        found = "narrowest section"
    zone &= heights >= _lowest_whole(profile)  # below it a torn end would pass for the narrowest place
    candidates = _above_shoulders(radii, np.flatnonzero(zone & profile.upright))
    if found == "landmarks" and zone.any():
        # Where a collar slopes from chin to shoulder nothing is upright but the shoulders, and the neck is its top.
        narrowest = np.flatnonzero(zone)[int(np.argmin(radii[zone]))]
        candidates = candidates[radii[candidates] <= FLARE * radii[narrowest]]
        candidates = candidates if len(candidates) else np.array([narrowest])
    if not len(candidates):
        lowest, chin = _lowest_whole(profile), _under_face(landmarks)
        return (lowest if chin < heights[0] else min(lowest, chin)), "lowest section"  # it may end above its chin
    behind = candidates[profile.recess[candidates] >= BEHIND_FACE]
    if found != "landmarks" and len(behind):  # a face turned aside shows no chin: then all will do
        candidates = behind
    return float(heights[_middle_of_narrowest(radii, candidates)]), found


def _under_face(landmarks: Mapping[str, NDArray[np.float64]]) -> float:
    """Height that no cut may go above without cutting into the face; infinite where nothing of the face is known."""
    if "gnathion" in landmarks:
        return float(landmarks["gnathion"][2])
    known = {name: float(landmarks[name][2]) for name in ("stomion", "subnasale", "pronasale") if name in landmarks}
    if "stomion" in known and "subnasale" in known:
        known["chin"] = known["stomion"] - CHIN_BELOW_MOUTH * (known["subnasale"] - known["stomion"])
    corners = [landmarks[name] for name in ("exocanthion-left", "exocanthion-right") if name in landmarks]
    if len(corners) == 2:
        apart = float(np.linalg.norm(corners[0] - corners[1]))
        known["under eyes"] = float(corners[0][2] + corners[1][2]) / 2 - CHIN_BELOW_EYES * apart
    return min(known.values(), default=np.inf)


def _above_shoulders(radii: NDArray[np.float64], candidates: NDArray[np.int64]) -> NDArray[np.int64]:
    """The candidate levels from the top down to where the shoulders begin."""
    kept: list[int] = []
    for level in candidates[::-1].tolist():
        if kept:
            narrowest = kept[int(np.argmin(radii[kept]))]
            if radii[level : narrowest + 1].max() > FLARE * radii[narrowest]:
                break
        kept.append(level)
    return np.array(kept[::-1], np.int64)


def _middle_of_narrowest(radii: NDArray[np.float64], candidates: NDArray[np.int64]) -> int:
    """The middle of the narrowest stretch of candidate levels."""
    best = int(candidates[np.argmin(radii[candidates])])
    narrow = set(candidates[radii[candidates] <= EVEN * radii[best]].tolist())
    low = high = best
    while low - 1 in narrow:
        low -= 1
    while high + 1 in narrow:
        high += 1
    return (low + high) // 2


def _lowest_whole(profile: _Profile) -> float:
    """The lowest level that is as wide as the lower third of the head mostly is: above a rounded or torn end."""
    lower = profile.radii[: LEVELS // 3]
    return float(profile.heights[int(np.argmax(lower >= 0.6 * lower.max()))])


def _outlines(head: Mesh, cut: Plane) -> tuple[Outline, ...]:
    """The outlines on the plane, the largest round material first."""
    outlines = section(head, cut)
    if not outlines:
        x, y, z = cut.origin
        raise NotPossible(f"the neck's cut at ({x:.1f}, {y:.1f}, {z:.1f}) meets no material: move it up or down")
    return tuple(sorted(outlines, key=lambda outline: -outline.area))


def _centred(head: Mesh, cut: Plane) -> Plane:
    """The same plane with its origin at the neck's centre of area, or at its deepest place where that lies near an
    edge or a hole.
    """
    outlines = _outlines(head, cut)
    places = np.stack([outlines[0].centroid, deepest(outlines)])
    middle, heart = depths_in(outlines, places)
    return plane(cut.placed(places[:1] if middle >= 0.8 * heart else places[1:])[0], cut.up)


def _smooth(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean over three levels, ends kept."""
    padded = np.pad(values, 1, mode="edge")
    return np.asarray((padded[:-2] + padded[1:-1] + padded[2:]) / 3)
