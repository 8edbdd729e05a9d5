"""A cut end brought to a circle, the change fading out along the body."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..angles import arc_tangent
from ..errors import NotPossible
from ..mesh import Mesh
from .sections import Outline, Plane, section

RAYS = 720


def brought_to_circle(mesh: Mesh, cut: Plane, radius: float, height: float) -> Mesh:
    """The mesh whose end on the plane becomes a circle round the plane's origin, blended in over `height`.

    Parameters
    ----------
    mesh : closed, ends on the plane with a flat face
    cut : the end's plane; the body lies above
    radius, height : millimetres

    Returns
    -------
    The same triangles over moved vertices. Each moves along the radius through it, by the end's own distance from
    the circle in that direction at the plane, fading smoothly to nothing at `height`; detail of the skin stays.

    Raises
    ------
    NotPossible
        The end is not seen whole from the origin, so that a circle cannot be brought onto it without folding.
    """
    reach = _reach(_end(mesh, cut), cut)
    levels, flat = cut.heights(mesh.vertices), cut.flat(mesh.vertices)
    distances = np.linalg.norm(flat, axis=1)
    rays = np.linspace(-np.pi, np.pi, RAYS + 1)
    ends = np.interp(arc_tangent(flat[:, 1], flat[:, 0]), rays, np.append(reach, reach[0]))
    ends = np.where(levels < 1e-6 * height, distances, ends)  # the end's own vertices go onto the circle exactly
    share = np.clip(1 - levels / height, 0, 1)
    fade = share**3 * (10 - 15 * share + 6 * share**2)  # no kink where it starts or ends
    inner = np.clip(distances / ends, 0, 1)  # the axis itself stays
    moved = flat * (1 + fade * inner * (radius - ends) / np.maximum(distances, 1e-9))[:, None]
    return replace(mesh, vertices=mesh.vertices + (moved - flat) @ np.stack([cut.across, cut.along]))


def _end(mesh: Mesh, cut: Plane) -> Outline:
    """The outline of the end, taken just above its face."""
    tiny = 1e-5 * float(np.ptp(mesh.vertices, axis=0).max())
    outlines = section(mesh, cut.raised(tiny))
    if not outlines or outlines[0].depths(np.zeros((1, 2)))[0] <= 0:
        raise NotPossible("the collar's axis does not run inside the neck: move the cut")
    return outlines[0]


def _reach(end: Outline, cut: Plane) -> NDArray[np.float64]:
    """(RAYS,) distance from the origin to the outline in directions from -pi up."""
    angles, distances = arc_tangent(*end.points.T[::-1]), np.linalg.norm(end.points, axis=1)
    turned = np.unwrap(angles)
    if abs(turned[-1] - turned[0]) < 1.5 * np.pi or (np.diff(turned) < -0.2).any():
        raise NotPossible("the neck's end folds back on itself, so no collar can be put on it: move the cut")
    order = np.argsort(angles)
    rays = np.linspace(-np.pi, np.pi, RAYS, endpoint=False)
    return np.interp(rays, angles[order], distances[order], period=2 * np.pi)
