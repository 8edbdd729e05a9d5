"""A face found on a surface in any pose and set straight on its own symmetry plane."""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ...geometry.cloud import Cloud
from ...geometry.distances.sampling import spread_over
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ...geometry.transforms import transform
from .face_search import UPPER, WHOLE, Face, find_face
from .symmetry import squared_up

_COARSE = 4.0
_MIDDLE = 2.0


_SIZES = (1.0, 2.0, 0.5)
"""A face is looked for at life size first, then at half and at double it: a wrong unit is no reason to give up."""


@dataclass(frozen=True, eq=False)
class StraightFace:
    """A face set straight.

    `face` was found on the head made `enlarged` times as large; `matrix` (4, 4) takes that enlarged head to the posed
    frame of a mean adult. `asymmetry` is the median distance of the face from its mirror image, mm as enlarged.
    """

    face: Face
    matrix: NDArray[np.float64]
    asymmetry: float
    enlarged: float

    @property
    def pose(self) -> NDArray[np.float64]:
        """(4, 4) rigid transform that poses the head itself."""
        return transform(self.matrix[:3, :3], self.matrix[:3, 3] / self.enlarged)


def straight_face(head: Mesh, progress: Progress = SILENT) -> StraightFace | None:
    """The face on a head, with the transform that poses it.

    Parameters
    ----------
    head : Mesh in millimetres, near life size or some two times off, any pose, normals outwards
    progress : told how far it is

    Returns
    -------
    StraightFace, or None where no face is recognised. The symmetry plane is the face's own; nod and depth are those
    at which a mean face lies best on it.
    """
    doubtful: list[tuple[Face, float]] = []
    for row, enlarged in enumerate(_SIZES):
        listener = progress.stretch(0.3 * row, 0.3 * row + 0.3)
        surface = _outward(spread_over(resized(head, enlarged), _COARSE))
        face = find_face(surface, WHOLE, listener)
        if not _recognised(face) and enlarged == 1.0:
            face = find_face(surface, UPPER, listener)
        if _recognised(face):
            doubtful.append((face, enlarged))
            if face.likeness >= _CLEAR:
                break
    if not doubtful:
        return None
    progress(0.9, "setting the face straight")
    face, enlarged = max(doubtful, key=lambda each: each[0].likeness)
    fine = _outward(spread_over(resized(head, enlarged), _MIDDLE)).moved(face.matrix)
    straighten, asymmetry = squared_up(fine, _face_mask(fine.points, face))
    return StraightFace(face, straighten @ face.matrix, asymmetry, enlarged)


_CLEAR = 0.6
"""A face this like the mean one is taken at once; below it, other sizes are tried and the likest is taken."""


def _outward(surface: Cloud) -> Cloud:
    """The surface with its normals away from its middle on the whole: an open scan may come turned inside out."""
    assert surface.normals is not None
    away = np.einsum("nd,nd->n", surface.normals, surface.points - surface.points.mean(axis=0)).sum()
    return surface if away >= 0 else replace(surface, normals=-surface.normals)


def resized(head: Mesh, factor: float) -> Mesh:
    """The head `factor` times as large about the origin."""
    return head if factor == 1.0 else head.moved(np.diag([factor, factor, factor, 1.0]))


def _recognised(face: Face) -> bool:
    """Whether the place found is a face: like one, and more so than any other place on the surface.

    Measured, whole: likeness 0.61-0.78 and 0.11-0.28 over the next best on demo heads, a statue, a mannequin, a base
    body and an average head; 0.40-0.47 and 0.14-0.22 on a bust with spectacles; 0.45 and 0.02 on a head cut off above
    the nose tip. Upper part: 0.69-0.79 and 0.11-0.23 on heads.
    """
    ahead = face.likeness - face.rival
    if not face.whole:
        return face.likeness >= 0.60 and ahead >= 0.06
    return (face.likeness >= 0.45 and ahead >= 0.06) or (face.likeness >= 0.36 and ahead >= 0.12)


def _face_mask(points: NDArray[np.float64], face: Face) -> NDArray[np.bool_]:
    x, y, z = points.T / face.size
    return np.asarray((np.abs(x) < 55) & (y < -40) & (z > (-85 if face.whole else -10)) & (z < 60))
