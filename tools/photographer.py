"""Photographs of a head that is known: simulated cameras, what is seen by them, marks with the error of a hand.

The cameras are ours; `photograph.py` renders by the host's, so that the pictures check the projection.
"""

import dataclasses

import numpy as np
from canthus.anatomy.eyes.gaze import pupil_ahead
from canthus.files.photo_marks import PhotoMarks
from canthus.geometry.photographs.cameras import Camera, Picture

SIZE = (1500, 2000)
LAYOUTS = {
    "front and both sides": [(0, 0), (35, 5), (-35, 0)],
    "all near the front": [(0, 0), (15, 0), (-15, 5)],
    "front to one side": [(0, 0), (25, 5), (50, 0)],
}
"""Degrees to the sitter's left and up from which each photograph is taken."""
UNMARKED = ("vertex", "orbitale", "glabella")
"""Landmarks nobody can point at in a photograph."""


def camera(turn, lift, distance, target, focal, size=SIZE, roll=0.0):
    """A camera looking at `target`, so many degrees to the sitter's left of the front and up; lengths in mm."""
    turn, lift, roll = np.radians([turn, lift, roll])
    out = np.array([np.sin(turn) * np.cos(lift), -np.cos(turn) * np.cos(lift), np.sin(lift)])
    right = np.cross(-out, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    down = np.cross(-out, right)
    right, down = np.cos(roll) * right + np.sin(roll) * down, np.cos(roll) * down - np.sin(roll) * right
    axes = np.stack([right, down, -out])
    return Camera(axes, -axes @ (target + distance * out), focal, Picture(size))


def visible(name, turn):
    """Whether the head hides a mark from a camera so many degrees to the sitter's left."""
    limit = 10 if name.startswith("tragion") else 45 if name.endswith("pupil") else 35
    return not ("left" in name and turn < -limit) and not ("right" in name and turn > limit)


def photographed(truth, layout, seed, error=1.0, gaze="ahead", size=SIZE, aside=0, tall=None):
    """Marked photographs of a demo head's truth and the cameras that took them.

    Distances from 0.7 to 1.4 m, a face that fills `tall` pixels, else the picture, cameras rolled a few degrees, marks
    off by `error` pixels in x and y. The face stands `aside` pixels off the middle of the picture.
    """
    generator = np.random.default_rng(seed)
    photographs, cameras = [], []
    for number, (turn, lift) in enumerate(LAYOUTS[layout]):
        distance = generator.uniform(700, 1400)
        target = np.array([0.0, -30.0, -20.0]) + generator.normal(0, 10, 3)
        focal = (tall or size[1]) * distance / 300
        taken = camera(turn, lift, distance, target, focal, size, generator.normal(0, 4))
        taken = dataclasses.replace(taken, shift=taken.shift + aside * distance / focal * np.eye(3)[0])
        places = {name: np.array(place) for name, place in truth.landmarks.items() if not name.startswith(UNMARKED)}
        for side, eye in truth.eyes.items():
            way = taken.place - eye.centre if gaze == "camera" else np.array([0.0, -1.0, 0.0])
            places[f"{side}-pupil"] = eye.centre + pupil_ahead(eye.radius) * way / np.linalg.norm(way)
        names = [name for name in places if visible(name, turn)]
        pixels = taken.project(np.array([places[name] for name in names])) + generator.normal(0, error, (len(names), 2))
        marks = {name: (round(float(x), 2), round(float(y), 2)) for name, (x, y) in zip(names, pixels, strict=True)}
        photographs.append(PhotoMarks(f"photograph-{number}.jpg", size, marks, gaze))
        cameras.append(taken)
    return photographs, cameras
