"""Published adult proportions the demo head is built to, with their sources, and how they are taken off it.

Means are midway between men's and women's; the standard deviation is the larger of the two. Lengths in mm.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

ANSUR = "ANSUR II public files, 4,082 men and 1,986 women (Gordon et al. 2014, NATICK/TR-15/007)"
ARNETT = "soft-tissue norms against the true vertical through subnasale (Arnett et al. 1999), from memory"

Field = Callable[[NDArray[np.float32]], NDArray[np.float32]]


@dataclass(frozen=True)
class Norm:
    """A published length: mean, standard deviation, where it was read."""

    mean: float
    deviation: float
    source: str


NORMS: Mapping[str, Norm] = {
    "head length": Norm((199.5 + 189.8) / 2, 7.5, ANSUR),
    "head breadth": Norm((154.3 + 147.8) / 2, 5.5, ANSUR),
    "bizygomatic breadth": Norm((142.6 + 133.8) / 2, 6.2, ANSUR),
    "sellion to menton": Norm((122.6 + 113.1) / 2, 6.7, ANSUR),
    "tragion to top of head": Norm((131.2 + 126.5) / 2, 6.6, ANSUR),
    "top of head to outer eye corner": Norm((113.8 + 108.9) / 2, 9.0, ANSUR),
    "ear length": Norm((64.2 + 59.4) / 2, 4.5, ANSUR),
    "ear breadth": Norm((36.1 + 33.2) / 2, 3.0, ANSUR),
    "ear protrusion": Norm((23.2 + 20.4) / 2, 3.0, ANSUR),
    "neck circumference": Norm((397.7 + 329.8) / 2, 25.8, ANSUR),
    "between pupils": Norm((64.0 + 61.7) / 2, 3.6, ANSUR),
    "vertex to gnathion": Norm((232 + 218) / 2, 8.0, "Farkas, as quoted by an open-source file; SD from memory"),
    "mouth width": Norm((55.9 + 52.0) / 2, 4.0, "doi 10.1186/s40902-019-0191-7, table 9"),
    "nose width": Norm((36.6 + 33.2) / 2, 3.0, "NIOSH survey (Zhuang and Bradtmiller 2005), from memory"),
    "nose protrusion": Norm((21.1 + 19.8) / 2, 2.7, "NIOSH survey (Zhuang and Bradtmiller 2005), from memory"),
    "between inner eye corners": Norm(31.4, 3.0, "pooled review PMC9029890; SD from memory"),
    "eye fissure length": Norm(27.1, 1.5, "Read et al. 2006, doi 10.1097/01.opx.0000236811.78177.97"),
    "eye fissure height": Norm(9.7, 1.2, "Read et al. 2006, doi 10.1097/01.opx.0000236811.78177.97"),
    "upper lip before subnasale": Norm(3.5, 1.5, ARNETT),
    "lower lip before subnasale": Norm(1.5, 1.8, ARNETT),
    "chin behind subnasale": Norm(3.1, 1.9, ARNETT),
    "glabella behind subnasale": Norm(8.3, 2.4, ARNETT),
}


def measured(bare: Field, marks: Mapping[str, NDArray[np.float64]]) -> dict[str, float]:
    """The same lengths taken off the sculpture.

    Parameters
    ----------
    bare : the form without hair or ears, the sculptor's frame (across, forward, up)
    marks : landmarks in that frame, with `vertex` and the ears' `ear-top`, `ear-bottom`, `ear-back` among them
    """

    def apart(first: str, second: str) -> float:
        return float(np.linalg.norm(marks[first] - marks[second]))

    subnasale = marks["subnasale"][1]
    top = _reach(bare, (0, -8, 100), (0, 0, 1), 60)[2]
    back = max(-_reach(bare, (0, 0, up), (0, -1, 0), 140)[1] for up in np.arange(30.0, 70.0, 2.0))
    return {
        "head length": float(marks["glabella"][1] + back),
        "head breadth": _breadth(bare, np.arange(-40.0, 10.0, 3.0), np.arange(46.0, 80.0, 3.0)),
        "bizygomatic breadth": _breadth(bare, np.arange(20.0, 46.0, 2.0), np.arange(-16.0, 6.0, 2.0)),
        "sellion to menton": apart("sellion", "gnathion"),
        "tragion to top of head": float(top - marks["tragion-left"][2]),
        "top of head to outer eye corner": float(top - marks["exocanthion-left"][2]),
        "neck circumference": _girth(bare, -122.0),
        "between pupils": apart("pupil-left", "pupil-right"),
        "vertex to gnathion": float(top - marks["gnathion"][2]),
        "mouth width": apart("cheilion-left", "cheilion-right"),
        "nose width": 2 * max(_reach(bare, (0, 97, up), (1, 0, 0), 24)[0] for up in np.arange(-27.0, -18.0, 1.0)),
        "nose protrusion": float(marks["pronasale"][1] - subnasale),
        "between inner eye corners": apart("endocanthion-left", "endocanthion-right"),
        "eye fissure length": apart("endocanthion-left", "exocanthion-left"),
        "eye fissure height": float((marks["palpebrale-superius-left"] - marks["palpebrale-inferius-left"])[2]),
        "upper lip before subnasale": _front(bare, np.arange(-48.0, -42.0, 0.5)) - subnasale,
        "lower lip before subnasale": _front(bare, np.arange(-60.0, -52.0, 0.5)) - subnasale,
        "chin behind subnasale": subnasale - _front(bare, np.arange(-92.0, -74.0, 1.0)),
        "glabella behind subnasale": float(subnasale - marks["glabella"][1]),
    }


def _reach(bare: Field, start: tuple[float, float, float], way: tuple[float, float, float], length: float) -> NDArray:
    """Where a walk from inside the form first leaves it."""
    ray = np.array(start, float) + np.arange(0, length, 0.05)[:, None] * np.array(way, float)
    inside = bare(ray.astype(np.float32)) < 0
    if not inside[0] or inside.all():
        raise ValueError(f"a walk from {start} towards {way} does not go from inside to outside")
    return ray[int(np.argmin(inside))]


def _breadth(bare: Field, forward: NDArray, up: NDArray) -> float:
    return 2 * max(_reach(bare, (0, f, z), (1, 0, 0), 110)[0] for f in forward for z in up)


def _front(bare: Field, levels: NDArray) -> float:
    return float(max(_reach(bare, (0, 60, up), (0, 1, 0), 80)[1] for up in levels))


def _girth(bare: Field, level: float) -> float:
    ways = np.radians(np.arange(0, 360, 3.0))
    line = np.array([_reach(bare, (0, -10, level), (np.sin(w), np.cos(w), 0), 110) for w in ways])
    return float(np.linalg.norm(line - np.roll(line, 1, axis=0), axis=1).sum())
