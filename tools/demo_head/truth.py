"""What is known exactly of the demo head: landmarks, globes, lid edges."""

import dataclasses
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .eyes import EyeForm

SIDES = {"left": 1.0, "right": -1.0}


@dataclass(frozen=True, eq=False)
class EyeTruth:
    """One eye. Points in the posed frame (face to -Y, up +Z, sitter's left +X), millimetres.

    `upper_margin` and `lower_margin` are (k, 3) curves from the inner to the outer corner where the lid edge
    meets the globe's sphere (towards the inner corner the lids leave the globe, and the curve shows their direction
    only); `opening_length` and `opening_height` are measured across the face, as in photographs.
    """

    side: str
    centre: NDArray[np.float64]
    gaze: NDArray[np.float64]
    radius: float
    cornea_centre: NDArray[np.float64]
    cornea_radius: float
    lid_thickness: float
    upper_margin: NDArray[np.float64]
    lower_margin: NDArray[np.float64]
    opening_length: float
    opening_height: float


@dataclass(frozen=True, eq=False)
class Truth:
    """Landmarks by name, both eyes, and the settings they came from."""

    landmarks: dict[str, NDArray[np.float64]]
    eyes: dict[str, EyeTruth]
    seed: int
    grid_mm: float

    def to_json(self) -> dict[str, Any]:
        """Plain numbers and lists, for a file beside the mesh."""

        def plain(value: Any) -> Any:
            if isinstance(value, dict):
                return {key: plain(inner) for key, inner in value.items()}
            return value.tolist() if isinstance(value, np.ndarray) else value

        return {
            "frame": "face to -Y, up +Z, the sitter's left +X, millimetres",
            "landmarks": plain(self.landmarks),
            "eyes": {side: plain(dataclasses.asdict(eye)) for side, eye in self.eyes.items()},
            "seed": self.seed,
            "grid_mm": self.grid_mm,
        }

    def moved(self, matrix: NDArray[np.float64]) -> "Truth":
        """The truth under a (4, 4) rigid or similarity transform."""
        factor = float(np.cbrt(abs(np.linalg.det(matrix[:3, :3]))))

        def place(points: NDArray[np.float64]) -> NDArray[np.float64]:
            return points @ matrix[:3, :3].T + matrix[:3, 3]

        eyes = {
            side: dataclasses.replace(
                eye,
                centre=place(eye.centre),
                gaze=matrix[:3, :3] @ eye.gaze / factor,
                cornea_centre=place(eye.cornea_centre),
                upper_margin=place(eye.upper_margin),
                lower_margin=place(eye.lower_margin),
                radius=eye.radius * factor,
                cornea_radius=eye.cornea_radius * factor,
                lid_thickness=eye.lid_thickness * factor,
                opening_length=eye.opening_length * factor,
                opening_height=eye.opening_height * factor,
            )
            for side, eye in self.eyes.items()
        }
        return dataclasses.replace(self, landmarks={k: place(v) for k, v in self.landmarks.items()}, eyes=eyes)


def first_skin(form: Callable, origin: NDArray, direction: NDArray, reach: float, from_outside: bool = True) -> NDArray:
    """Where the way from `origin` along `direction` (unit) crosses the form: (3,), the sculptor's frame.

    From outside the search comes in from `reach`, so it meets the outermost skin.
    """
    distances = np.arange(reach, 0, -0.05) if from_outside else np.arange(0, reach, 0.05)
    ray = np.asarray(origin) + distances[:, None] * np.asarray(direction)
    values = form(ray.astype(np.float32))
    inside = values < 0
    hit = int(np.argmax(inside != inside[0]))
    if hit == 0:
        raise ValueError(f"no skin along the way from {origin} towards {direction}")
    before, after = values[hit - 1], values[hit]
    share = before / (before - after)
    return ray[hit - 1] + share * (ray[hit] - ray[hit - 1])


def _forward_profile(form: Callable, levels: NDArray, across: float = 0.0) -> NDArray:
    """(n, 3) skin seen from the front at each level."""
    return np.array([first_skin(form, (across, 40.0, up), (0.0, 1.0, 0.0), 110.0) for up in levels])


def _direction(bearing: float, elevation: float) -> NDArray[np.float64]:
    b, e = np.radians([bearing, elevation])
    return np.array([np.sin(b) * np.cos(e), np.cos(b) * np.cos(e), np.sin(e)])


def _left_eye_landmarks(form: Callable, eye: EyeForm) -> dict[str, NDArray]:
    upper, lower = eye.margins
    inner, outer = eye.corners
    bearings = np.linspace(inner, outer, 400)
    middle_of_edge = eye.radius + eye.lid_thickness / 2
    top = bearings[np.argmax(np.sin(np.radians(upper(bearings))))]
    low = bearings[np.argmin(lower(bearings))]
    centre = np.asarray(eye.centre)
    corner_level = eye.centre[2] + eye.inner / np.sin(np.radians(-inner)) * np.tan(np.radians(float(upper(inner))))
    return {
        "endocanthion": first_skin(form, (eye.centre[0] - eye.inner, 40.0, corner_level), (0.0, 1.0, 0.0), 70.0),
        "exocanthion": first_skin(form, centre, _direction(outer + 1.0, float(upper(outer))), 22.0),
        "palpebrale-superius": centre + middle_of_edge * _direction(top, float(upper(top))),
        "palpebrale-inferius": centre + middle_of_edge * _direction(low, float(lower(low))),
        "orbitale": first_skin(form, (eye.centre[0], 40.0, 0.0), (0.0, 1.0, 0.0), 70.0),
    }


def _midline(form: Callable) -> dict[str, NDArray]:
    brow = _forward_profile(form, np.arange(28, 48, 0.25))
    root = _forward_profile(form, np.arange(14, 32, 0.25))
    tip = _forward_profile(form, np.arange(-27, -12, 0.25))
    under = _forward_profile(form, np.arange(-40, -24, 0.25))
    nose, lip = tip[np.argmax(tip[:, 1])], _forward_profile(form, np.array([-42.0]))[0]
    along = (lip - nose) / np.linalg.norm(lip - nose)
    hollow = np.linalg.norm(np.cross(under - nose, along), axis=1)
    below = np.array([first_skin(form, (0.0, f, -60.0), (0.0, 0.0, -1.0), 60.0) for f in np.arange(84, 98, 0.25)])
    return {
        "glabella": brow[np.argmax(brow[:, 1])],
        "sellion": root[np.argmin(root[:, 1])],
        "pronasale": nose,
        "subnasale": under[np.argmax(hollow)],
        "stomion": _forward_profile(form, np.array([-50.3]))[0],
        "gnathion": below[np.argmin(below[:, 2] - 0.35 * below[:, 1])],
    }


def sculpted_landmarks(form: Callable, eye: EyeForm) -> dict[str, NDArray]:
    """Landmarks of the symmetric sculpture, in the sculptor's frame, names as in the project's list.

    `vertex` is left to the finished mesh: the highest point of the head, hair included, as a scan shows it.
    """
    marks = _midline(form)
    left = _left_eye_landmarks(form, eye)
    left["cheilion"] = first_skin(form, (25.6, 40.0, -50.6), (0.0, 1.0, 0.0), 80.0)
    left["tragion"] = first_skin(form, (50.0, 0.0, 0.0), (1.0, 0.0, 0.0), 40.0, from_outside=False)
    for name, place in left.items():
        for side, sign in SIDES.items():
            marks[f"{name}-{side}"] = place * [sign, 1, 1]
    return marks


def lid_margins(eye: EyeForm, count: int = 60) -> tuple[NDArray, NDArray]:
    """Upper and lower lid edge on the globe, (count, 3) each, inner to outer corner, left eye, sculptor's frame."""
    bearings = np.linspace(*eye.corners, count)
    return tuple(
        np.array([np.asarray(eye.centre) + eye.radius * _direction(b, float(m(b))) for b in bearings])
        for m in eye.margins
    )
