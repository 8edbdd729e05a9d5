"""What the key step reads from files, and what it remarks on."""

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ...files.reading import read
from ...geometry.cloud import Cloud
from ...geometry.errors import BadFile, NotPossible
from ...geometry.mesh import Mesh
from ...geometry.solids.seams import Seam, seam_through
from ...geometry.solids.sections import Plane, section
from ...geometry.transforms import applied, transform
from ..workpiece import Workpiece
from .gaps import TOUCH

if TYPE_CHECKING:
    from ...geometry.solids.spigot import Parted


def seam_from(path: str, frame: NDArray[np.float64], up: NDArray[np.float64] | None, raise_by: float) -> Seam:
    """The seam through the points of a file, brought from the capture's coordinates into the workpiece's."""
    found = read(path)
    if not isinstance(found, Cloud):
        raise BadFile(f"{path}: a parting curve is a list of points, not a mesh: give XYZ or PLY points in order")
    seam = seam_through(applied(frame, found.points), up)
    return Seam(seam.frame.raised(raise_by), seam.levels, seam.inner)


def hair_from(path: str, frame: NDArray[np.float64]) -> Mesh:
    """The mesh of a file, brought from the capture's coordinates into the workpiece's."""
    found = read(path)
    if not isinstance(found, Mesh):
        raise BadFile(f"{path}: hair is a closed mesh, not a cloud of points")
    return found.moved(frame)


def centred(piece: Workpiece, cut: Plane) -> Plane:
    """The same plane, its origin moved to the middle of the head's outline on it."""
    outlines = [outline for outline in section(piece.needed_head(), cut) if outline.area > 0]
    if not outlines:
        x, y, z = cut.origin
        raise NotPossible(f"key: the plane at ({x:.1f}, {y:.1f}, {z:.1f}) misses the head: move it (raise_by)")
    return Plane(cut.placed(outlines[0].centroid[None])[0], cut.across, cut.along)


def rim_remarks(halves: "Parted", thinnest: float) -> list[str]:
    """What a sculptor must know of this rim."""
    wall = min(halves.collar_wall, halves.spigot_wall)
    if wall >= thinnest:
        return []
    return [
        f"The rim of the parting is only {wall:.2f} mm thick at its thinnest: a thicker wall or less clearance helps"
    ]


def opening_remarks(piece: Workpiece, opening: float) -> list[str]:
    """Whether the eyes that go in from behind, and the rings that hold them, pass the opening."""
    rings = [part for name, part in piece.parts.items() if name.startswith("seat-")]
    widest = [eye.diameter for eye in piece.eyes if eye.bore_length > 0]
    largest = max(widest + [float(np.ptp(ring.vertices, axis=0).max()) for ring in rings], default=0.0)
    if largest <= opening:
        return []
    return [
        f"The eyes of {largest:.1f} mm do not pass through the parting's opening of {opening:.1f} mm: "
        "lower it (raise_by), or hollow the head first"
    ]


def lift_remarks(name: str, seat: str, solid: Mesh, part: Mesh, up: NDArray[np.float64]) -> list[str]:
    """Whether a part that lies on another, the seat, comes off along `up` without binding."""
    from ...geometry.solids.booleans import shared_by_pairs

    lifts = (0.3, 1.5)
    lifted = [part.moved(transform(np.eye(3), out * up)) for out in lifts]
    for out, (shared, _) in zip(lifts, shared_by_pairs([solid, *lifted], [(0, 1), (0, 2)]), strict=True):
        if shared > TOUCH:
            return [
                f"{name} reaches round the {seat} and binds as it is lifted off ({shared:.2f} mm³ after {out:g} mm): "
                "give another way off (normal), or let it be trimmed (trim)"
            ]
    return []
