"""Photographs of a head whose landmarks and eyes are known, and landmarks as a scan would give them."""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1] / "tools"))

from photographer import SIZE as SIZE
from photographer import camera as camera
from photographer import photographed as photographed

FACE = {
    "sellion": (0, -95, 18),
    "pronasale": (0, -125, -22),
    "subnasale": (0, -110, -35),
    "stomion": (0, -106, -58),
    "gnathion": (0, -98, -100),
    "endocanthion-left": (17, -82, 15),
    "endocanthion-right": (-17, -82, 15),
    "exocanthion-left": (45, -73, 17),
    "exocanthion-right": (-45, -73, 17),
    "palpebrale-superius-left": (31, -86, 20),
    "palpebrale-superius-right": (-31, -86, 20),
    "palpebrale-inferius-left": (32, -84, 10),
    "palpebrale-inferius-right": (-32, -84, 10),
    "cheilion-left": (26, -92, -58),
    "cheilion-right": (-26, -92, -58),
    "tragion-left": (72, 5, -5),
    "tragion-right": (-72, 5, -5),
}
"""About where a face's landmarks lie, mm at life size, posed."""
CENTRES = {"left": (31.0, -72.0, 15.0), "right": (-31.0, -72.0, 15.0)}
"""The globes' centres of that face."""


def shaken(truth, seed, spread):
    """The truth's landmarks as a scan would give them: off by `spread` mm, root mean square of the distance."""
    generator = np.random.default_rng(1000 + seed)
    return {
        name: (np.array(place) + generator.normal(0, spread / np.sqrt(3), 3), 1.0)
        for name, place in truth.landmarks.items()
    }
