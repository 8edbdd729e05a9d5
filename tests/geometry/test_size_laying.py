"""Points laid on a surface in pose and size, against the similarity they were moved by."""

import numpy as np
import pytest
from canthus.geometry.errors import BadCloud
from canthus.geometry.refitting.size_laying import laid_in_any_pose, laid_in_size
from canthus.geometry.solids.primitives import icosphere
from canthus.geometry.transforms import applied, rotation, transform

RADII = np.array([70.0, 92.0, 84.0])
EGG = icosphere(5).moved(transform(np.diag(RADII)))


def cap():
    """Points on the upper half of the egg with its normals, by the formula of an ellipsoid."""
    places = EGG.vertices[EGG.vertices[:, 2] > 5.0][::7]
    ways = places / RADII**2
    return places, ways / np.linalg.norm(ways, axis=1, keepdims=True)


def moved_away(turn, size):
    places, ways = cap()
    linear = rotation((0.3, 1.0, 0.4), turn)
    return places, size * places @ linear.T + (20.0, -35.0, 50.0), ways @ linear.T


def test_a_known_similarity_is_found_from_nearby():
    """0.0005 in size of a head is 0.1 mm; an ellipsoid of three different radii fits itself in one way only."""
    places, away, ways = moved_away(0.15, 1.12)
    start = transform(np.eye(3) / 1.05, -np.array([18.0, -32.0, 46.0]) / 1.05)
    laid = laid_in_size(away, ways, EGG, start)
    assert np.cbrt(np.linalg.det(laid.matrix[:3, :3])) == pytest.approx(1 / 1.12, abs=5e-4)
    assert np.linalg.norm(applied(laid.matrix, away) - places, axis=1).max() < 0.3
    assert laid.rms < 0.05


@pytest.mark.parametrize(("turn", "size"), [(0.2, 1.0), (1.5, 0.001), (3.0, 25.4)])
def test_any_pose_and_unit(turn, size):
    """The egg is its own mirror image three ways, so that what counts is that all points come to lie on it."""
    _, away, ways = moved_away(turn, size)
    laid = laid_in_any_pose(away, ways, EGG)
    on = applied(laid.matrix, away)
    assert np.abs(np.linalg.norm(on / RADII, axis=1) - 1).max() * RADII.min() < 0.5


def test_what_looks_the_other_way_is_refused():
    places, ways = cap()
    with pytest.raises(BadCloud, match="look the way the surface does"):
        laid_in_size(places, -ways, EGG, np.eye(4))
