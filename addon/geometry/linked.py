"""What hangs together: the pieces of a graph that is told by pairs."""

from typing import Any

import numpy as np
from numpy.typing import NDArray


def linked_pieces(one: NDArray[np.integer[Any]], other: NDArray[np.integer[Any]], count: int) -> NDArray[np.int32]:
    """(count,) the piece each of so many things belongs to, numbered by their first members.

    Parameters
    ----------
    one, other : (k,) int arrays, the two of each pair that hangs together; a pair may come twice, either way round
    count : how many things there are; one that is in no pair is a piece by itself
    """
    from scipy.sparse import coo_array  # here, for enabling the extension must not wait for it
    from scipy.sparse.csgraph import connected_components

    links = coo_array((np.ones(len(one), np.int8), (one, other)), shape=(count, count))
    pieces: NDArray[np.int32] = connected_components(links, directed=False)[1]
    return pieces
