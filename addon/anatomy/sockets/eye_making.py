"""Eyes as solids: full-round or half-round, on a stem or without, their irises proud or sunk, and clear domes.

Each is made about the origin of its optic axis and then laid in the head. Its faces are inscribed in the true spheres.
"""

import numpy as np
from numpy.typing import NDArray

from ...geometry.mesh import Mesh
from ...geometry.solids.booleans import difference, union
from ...geometry.solids.primitives import box, cylinder, frustum, revolved, sphere
from ...geometry.transforms import transform
from ...geometry.views.inside_view import frame_about
from ..eyes.eye import EyeShape
from .eye_path import STEM_LENGTH, STEM_RADIUS
from .eye_seat import FINENESS, FLAT
from .socket import Pocket

ANTERIOR_DEPTH = 3.03
"""Corneal apex to the front of the lens, where the iris stands, mm at life size, here on a globe of 24 (1,015 eyes,
South China, doi 10.1186/s12886-016-0221-5)."""

_ENGRAVED = 0.05  # mm; the least line that shows on a resin print, about a pixel
_LAND = 0.03  # radii: what is left of the sclera's edge about a sunk iris
_DOME_GAP = 0.02  # mm round a dome's foot and under it


def made_eye(shape: EyeShape, *, half: bool, stem: bool, sunk_iris: bool, marks: int) -> Mesh:
    """One eye about the origin, looking along +z with its top towards +y.

    Parameters
    ----------
    shape : its size
    half : half-round with a flat back instead of full-round
    stem : with a handling stem behind
    sunk_iris : a flat recess to paint and dome with clear resin, instead of a solid cornea with the pupil scribed on it
    marks : grooves across the back (0 to 2); the first runs up and down, the second crosses it

    Returns
    -------
    Closed mesh. Where the optic axis leaves the back there is a centre mark: a small cone, as for a lathe.
    """
    profile = np.concatenate([_back(shape, half, stem), _front(shape, sunk_iris)])
    eye = revolved(profile, sag=FINENESS * shape.sclera)
    end, room = float(profile[:, 1].min()), STEM_RADIUS * shape.sclera
    width = max(2 * _ENGRAVED, room / 5)
    # On a round back without a stem the marks go as deep as they would in a stem's flat end.
    end += 0.0 if half or stem else shape.sclera - float(np.sqrt(shape.sclera**2 - room**2))
    long, low, high = 1.5 * room, end - 2 * room, end + width
    grooves = [
        box((-width / 2, -long, low), (width / 2, long, high)),
        box((-long, -width / 2, low), (long, width / 2, high)),
    ]
    centre_mark = frustum((0.0, 0.0, end - width), (0.0, 0.0, end + 2 * width), 3 * width, 0.0, width / 50)
    return difference(eye, centre_mark, *grooves[:marks])


def made_dome(shape: EyeShape) -> Mesh:
    """The clear cornea that fills a sunk iris, about the same origin, its pupil's plug left out."""
    rim, floor = _recess(shape)
    gap = min(_DOME_GAP, rim / 10)
    arc = _cornea(shape, rim - gap)
    return revolved(np.concatenate([[(rim - gap, floor + gap)], arc]), sag=FINENESS * shape.sclera)


def laid(mesh: Mesh, centre: NDArray[np.float64], gaze: NDArray[np.float64]) -> Mesh:
    """A made eye in its place: the origin at the globe's centre, +z along the gaze, its top up."""
    across, up, ahead = frame_about(gaze)
    return mesh.moved(transform(np.column_stack([across, up, ahead]), centre))


def plug(pocket: Pocket) -> Mesh:
    """What fills pocket and bores behind a fixed eye; a hair larger than they, so that it fuses with their walls."""
    hair, centre, gaze = 2 * FINENESS * pocket.widest + 0.01, pocket.centre, pocket.gaze
    over, sag = pocket.radius + hair, FINENESS * pocket.radius
    ball = sphere(over, centre, sag)
    ways = [
        cylinder(bore.start + hair * gaze, bore.end - hair * gaze, bore.radius + hair, sag) for bore in pocket.bores()
    ]
    front = cylinder(centre + gaze * 0.3 * pocket.radius, centre + gaze * 2 * over, 2 * over, 0.01 * over)
    return difference(union(ball, *ways), front)


def _back(shape: EyeShape, half: bool, stem: bool) -> NDArray[np.float64]:
    """(k, 2) outline from the axis behind to just before the limbus."""
    outline = shape.profile(FINENESS * shape.sclera)
    outline = outline[outline[:, 1] < shape.limbus_ahead - 1e-9 * shape.sclera]
    radius = shape.sclera
    back = np.zeros((0, 2))
    if half:
        outline = outline[outline[:, 1] > -FLAT * radius]
        back = np.array([(radius * np.sqrt(1 - FLAT**2), -FLAT * radius)])
    if stem:
        thick = STEM_RADIUS * radius
        joint = -FLAT * radius if half else -np.sqrt(radius**2 - thick**2)
        outline = outline[outline[:, 1] > joint]
        back = np.concatenate([[(thick, -radius * (1 + STEM_LENGTH)), (thick, joint)], back])
    return np.concatenate([back, outline])


def _front(shape: EyeShape, sunk_iris: bool) -> NDArray[np.float64]:
    """(k, 2) outline from the limbus to the axis in front."""
    if not sunk_iris:
        return _scribed(_cornea(shape, shape.limbus), shape)
    rim, floor = _recess(shape)
    deeper = floor - max(2 * _ENGRAVED, 0.05 * shape.sclera)
    edge = [(shape.limbus, shape.limbus_ahead), (rim, shape.limbus_ahead), (rim, floor)]
    return np.array([*edge, (shape.pupil, floor), (shape.pupil, deeper), (0.0, deeper)])


def _recess(shape: EyeShape) -> tuple[float, float]:
    """Radius of the sunk iris and the height of its floor."""
    return shape.limbus - _LAND * shape.sclera, shape.apex - ANTERIOR_DEPTH / 12 * shape.sclera


def _cornea(shape: EyeShape, foot: float) -> NDArray[np.float64]:
    """(k, 2) outline of the cornea from a radius to the apex."""
    step = 2 * np.arccos(1 - FINENESS * shape.sclera / shape.cornea)
    widest = np.arcsin(foot / shape.cornea)
    angles = np.linspace(widest, 0.0, int(np.ceil(widest / step)) + 2)
    arc = np.column_stack([shape.cornea * np.sin(angles), shape.cornea_ahead + shape.cornea * np.cos(angles)])
    arc[-1, 0] = 0.0
    return arc


def _scribed(cornea: NDArray[np.float64], shape: EyeShape) -> NDArray[np.float64]:
    """The cornea with a groove round the pupil; the apex stays whole."""
    width = max(_ENGRAVED, 0.02 * shape.sclera)
    near = np.abs(cornea[:, 0] - shape.pupil) < width / 2
    heights = shape.cornea_ahead + np.sqrt(shape.cornea**2 - (shape.pupil + np.array([0.5, 0.0, -0.5]) * width) ** 2)
    radii = shape.pupil + np.array([0.5, 0.0, -0.5]) * width
    groove = np.column_stack([radii, heights - np.array([0.0, width / 2, 0.0])])
    outer, inner = cornea[~near & (cornea[:, 0] > shape.pupil)], cornea[~near & (cornea[:, 0] < shape.pupil)]
    return np.concatenate([outer, groove, inner])
