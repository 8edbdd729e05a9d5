"""Where the landmarks of a mean adult head lie: what a search starts from, never what a face is corrected to."""

import numpy as np
from numpy.typing import NDArray

# Millimetres in the posed frame (x to the sitter's left, y to the back, z up), origin midway between the tragia.
# Heights: tragion to top 129, top to outer corner 111, sellion to chin 118 (ANSUR II means of men and women, rounded).
# Eyes: inner corners 32 apart, fissure 27 (Read et al. 2006; pooled review PMC9029890); mouth 52 (jkamprs 2019, table
# 9). Depths before the tragia and the breadth between them: from memory.
_MIDLINE = {
    "glabella": (-101.0, 38.0),
    "sellion": (-96.0, 24.0),
    "pronasale": (-121.0, -20.0),
    "subnasale": (-104.0, -33.0),
    "stomion": (-103.0, -56.0),
    "gnathion": (-86.0, -95.0),
    "vertex": (8.0, 129.0),
}
_LEFT = {
    "endocanthion": (16.5, -82.0, 17.5),
    "exocanthion": (44.5, -72.0, 19.0),
    "palpebrale-superius": (30.5, -87.0, 23.5),
    "palpebrale-inferius": (31.5, -86.0, 13.0),
    "orbitale": (33.0, -82.0, 0.0),
    "tragion": (71.0, 0.0, 0.0),
    "cheilion": (26.0, -91.0, -57.0),
}


def mean_head() -> dict[str, NDArray[np.float64]]:
    """Landmark name to (3,) position, millimetres in the posed frame, origin midway between the tragia."""
    places = {name: np.array([0.0, y, z]) for name, (y, z) in _MIDLINE.items()}
    for name, (x, y, z) in _LEFT.items():
        places[f"{name}-left"] = np.array([x, y, z])
        places[f"{name}-right"] = np.array([-x, y, z])
    return places
