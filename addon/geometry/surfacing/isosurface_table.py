"""How the twelve edges of a grid cell are shared out among the sheets that pass through it, for all 256 cases.

Corners are numbered as `bricks.CELL_CORNERS` has them. Edge number: 4 * axis + place, where bit 0 of the place is the
position along the next axis in turn and bit 1 that along the one after. Face number: 2 * axis + side.
"""

import numpy as np
from numpy.typing import NDArray


def _edges() -> list[tuple[int, int]]:
    """The two corners of each edge, lower first."""
    found = []
    for axis in range(3):
        one, other = (axis + 1) % 3, (axis + 2) % 3
        for place in range(4):
            lower = ((place & 1) << one) | ((place >> 1) << other)
            found.append((lower, lower | 1 << axis))
    return found


def _faces() -> list[list[int]]:
    """The four corners of each face in order round it."""
    found = []
    for axis in range(3):
        one, other = 1 << (axis + 1) % 3, 1 << (axis + 2) % 3
        for side in (0, 1):
            start = side << axis
            found.append([start, start | one, start | one | other, start | other])
    return found


_EDGES, _FACES = _edges(), _faces()
_EDGE_OF = {ends: number for number, ends in enumerate(_EDGES)}


def _segments(case: int, face: int, turned: bool) -> list[tuple[int, int]]:
    """Pairs of crossed edges that the surface joins across one face.

    Where inside and outside corners alternate round the face, the inside corners are cut off one by one; `turned`
    cuts off the outside ones. Both cells at the face must choose alike.
    """
    corners = _FACES[face]
    inside = [case >> corner & 1 for corner in corners]
    edges = [_EDGE_OF[min(pair), max(pair)] for pair in zip(corners, corners[1:] + corners[:1], strict=True)]
    crossed = [edges[i] for i in range(4) if inside[i] != inside[(i + 1) % 4]]
    if len(crossed) < 4:
        return [(crossed[0], crossed[1])] if crossed else []
    return [(edges[i - 1], edges[i]) for i in range(4) if inside[i] != turned]


def _sheets(case: int, turned_face: int) -> list[int]:
    """The sheet each edge belongs to, -1 where it is not crossed."""
    sheet = [edge if case >> low & 1 != case >> high & 1 else -1 for edge, (low, high) in enumerate(_EDGES)]
    for face in range(6):
        for one, other in _segments(case, face, face == turned_face):
            joined, gone = sorted((sheet[one], sheet[other]))
            sheet = [joined if label == gone else label for label in sheet]
    names = sorted(set(sheet) - {-1})
    return [-1 if label < 0 else names.index(label) for label in sheet]


def _flipped_face(case: int) -> int:
    """The face where one sheet passes twice, or -1. No case has two of them."""
    sheet = _sheets(case, -1)
    for face in range(6):
        segments = _segments(case, face, False)
        if len(segments) == 2 and sheet[segments[0][0]] == sheet[segments[1][0]]:
            return face
    return -1


EDGES: NDArray[np.int64] = np.array(_EDGES)
FLIPPED_FACE: NDArray[np.int64] = np.array([_flipped_face(case) for case in range(256)])
"""(256,) the face whose rule is turned round when the neighbour there asks for it too, or -1."""
SHEETS: NDArray[np.int64] = np.array(
    [_sheets(case, -1) for case in range(256)] + [_sheets(case, int(FLIPPED_FACE[case])) for case in range(256)]
)
"""(512, 12) sheet of each edge or -1; rows 256 and up with the ambiguous face turned round."""
SHEET_COUNTS: NDArray[np.int64] = SHEETS.max(axis=1) + 1
"""(512,) sheets in a cell: 0 to 4."""
