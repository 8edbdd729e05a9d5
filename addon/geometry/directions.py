"""Directions as unit vectors: of any vectors, and spread evenly over the sphere."""

from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

F = TypeVar("F", bound=np.floating[Any])


def unit(vectors: NDArray[F]) -> NDArray[F]:
    """(..., d) vectors brought to length 1, each along the last axis; one without a length stays zero."""
    lengths = np.linalg.norm(vectors, axis=-1, keepdims=True)
    directions: NDArray[F] = vectors / np.maximum(lengths, np.finfo(vectors.dtype).tiny)
    return directions


def spread_directions(count: int) -> NDArray[np.float64]:
    """(count, 3) unit vectors spread evenly over the sphere, from the top down: a golden spiral."""
    turns, heights = np.arange(count) * np.pi * (3 - 5**0.5), 1 - (2 * np.arange(count) + 1) / count
    level = np.sqrt(1 - heights**2)
    return np.column_stack([level * np.cos(turns), level * np.sin(turns), heights])
