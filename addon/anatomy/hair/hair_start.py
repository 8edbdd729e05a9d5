"""Where hair made for another head begins on this one: turned, moved and scaled, by landmarks or by its form."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from ...geometry.clouds.normals import vertex_normals
from ...geometry.clouds.thinning import thinned
from ...geometry.errors import BadCloud, BadSetting, NotPossible
from ...geometry.mesh import Mesh
from ...geometry.refitting.size_laying import laid_in_any_pose
from ...geometry.refitting.under_side import innermost
from ...geometry.transforms import matched
from ..face.units import HEAD_SIDE, MILLIMETRES

Marks = Mapping[str, NDArray[np.float64]]

FEWEST = 4
"""Landmarks both heads must have in common."""
LIKE = (0.8, 1.25)
"""Size of one adult's head over another's: ANSUR II head lengths run from 168 to 225 mm (reference values)."""


@dataclass(frozen=True, eq=False)
class Start:
    """The (4, 4) similarity from the hair's file to the new head, and what it rests on in words."""

    matrix: NDArray[np.float64]
    how: str

    @property
    def factor(self) -> float:
        """How much longer things become."""
        return float(np.cbrt(np.linalg.det(self.matrix[:3, :3])))


def start_by_landmarks(old: Marks, new: Marks) -> Start | None:
    """The start by landmarks both heads have; None where there are too few.

    The highest point of the head is none of them: hair counts to it.
    """
    places = common_places(old, new)
    if places is None or len(places[0]) < FEWEST:
        return None
    return Start(matched(*places, scaled=True), f"{len(places[0])} landmarks")


def common_places(old: Marks, new: Marks) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    """(k, 3) places on the old head and on the new one of the landmarks both have; None where there are none."""
    names = [name for name in old if name in new and name != "vertex"]
    return (np.array([old[name] for name in names]), np.array([new[name] for name in names])) if names else None


def start_by_form(hair: Mesh, scalp: Mesh) -> Start:
    """The start by the hair's inner side, laid on the head in any pose and size.

    Parameters
    ----------
    hair : as its file has it
    scalp : the new head, face towards -y where it is posed

    Raises
    ------
    NotPossible
        The hair has no inner side that fits.
    """
    middle = hair.vertices.mean(axis=0)
    inwards = hair.vertices - middle
    inwards /= np.maximum(np.linalg.norm(inwards, axis=1, keepdims=True), 1e-300)
    rows = np.flatnonzero(innermost(hair, inwards))
    if len(rows) < FEWEST:
        raise NotPossible("the hair has no inner side to lay on a head by: give the head it was made for")
    ways = -vertex_normals(hair)[rows]
    ways *= np.sign(np.einsum("ij,ij->i", ways, inwards[rows]))[:, None]  # a sheet's may look either way
    size = float(np.linalg.norm(np.ptp(hair.vertices, axis=0)))
    few = np.unique(cKDTree(hair.vertices[rows]).query(thinned(hair.vertices[rows], size / 60).points)[1])
    upper = scalp.kept(scalp.corners[:, :, 2].mean(axis=1) > scalp.vertices[:, 2].max() - _CAP)
    try:
        laid = laid_in_any_pose(hair.vertices[rows][few], ways[few], upper)
    except BadCloud as fault:
        raise NotPossible(f"hair: {fault}") from None
    return Start(laid.matrix, f"the form of its inner side, which fits within {laid.rms:.1f} mm")


_CAP = 190.0
"""Millimetres from the crown down to which hair is looked for: crown to chin is 232 (ANSUR II)."""


def size_ratio(factor: float, unit: str, scale: float) -> tuple[float, str]:
    """How much larger the new head is than that the hair was made for.

    Parameters
    ----------
    factor : from the file's numbers to millimetres at life size
    unit : what the file is in, or "auto"
    scale : print size over life size: the file may be at either

    Returns
    -------
    The ratio, and the file's unit and size in words.

    Raises
    ------
    BadSetting
        The unit given makes no head of it.
    """
    units = MILLIMETRES if unit == "auto" else {unit: MILLIMETRES[unit]}
    sizes = {"life size": 1.0, "print size": 1.0 / scale}
    ratios = {(name, size): factor / (mm * up) for name, mm in units.items() for size, up in sizes.items()}
    (name, size), ratio = min(ratios.items(), key=lambda each: abs(np.log(each[1])))
    if unit != "auto" and not 0.5 < ratio < 2.0:
        raise BadSetting(
            f"fit-hair: hair in {unit} would be {1 / ratio:.3g} times as large as this head: give its unit"
        )
    return ratio, f"{name} at {size}"


def to_life(old: Mesh, unit: str, scale: float) -> float:
    """About what brings a head's numbers to millimetres at life size, to look for its face.

    Parameters
    ----------
    old : the head
    unit : what it is in, or "auto"
    scale : print size over life size, which it may be at
    """
    side = float(np.ptp(old.vertices, axis=0).max())
    units = MILLIMETRES.values() if unit == "auto" else [MILLIMETRES[unit]]
    likely = float(np.sqrt(HEAD_SIDE[0] * HEAD_SIDE[1]))
    return min((mm * up for mm in units for up in (1.0, 1.0 / scale)), key=lambda up: abs(np.log(up * side / likely)))
