"""Demo heads for the tests, built once a run: other people than the portrait itself, at a coarse grid."""

import functools
import sys
from pathlib import Path

import numpy as np
from canthus.geometry.transforms import transform
from scipy.spatial.transform import Rotation

sys.path.insert(0, str(Path(__file__).parents[1] / "tools"))


@functools.cache
def demo_head(seed, grid_mm=1.4, haired=True):
    """A head with its truth: `.mesh` and `.truth.landmarks`, posed, millimetres."""
    from demo_head.build import build

    return build(seed, grid_mm, haired)


def demo_surface(seed, grid_mm):
    """The same head's mesh without its truth, which costs more than a coarse mesh."""
    from demo_head.build import sculpted

    return sculpted(seed, grid_mm)


@functools.cache
def demo_hair(seed, grid_mm=2.0):
    """The hair of that head as a closed part of its own, on its bare scalp."""
    from demo_head.wig import hair_part

    return hair_part(seed, grid_mm)


def any_pose(seed):
    """A rigid motion drawn evenly over all turns, and up to 300 mm away."""
    rng = np.random.default_rng(seed)
    return transform(Rotation.random(random_state=seed).as_matrix(), rng.uniform(-300, 300, 3))
