"""Unit vectors, of any vectors and spread over the sphere."""

import numpy as np
import pytest
from canthus.geometry.directions import spread_directions, unit


@pytest.mark.parametrize("kind", [np.float32, np.float64])
def test_vectors_come_to_length_1_and_none_stays_none(kind):
    """Pythagorean triples: Euclid, Elements X, lemma to proposition 29; (2, 3, 6) is 7 long."""
    vectors = np.array([[[3, 4, 0], [0, 0, 0]], [[2, 3, 6], [-5e-20, 0, 12e-20]]], kind)
    found = unit(vectors)
    assert found.dtype == kind
    wanted = [[[3 / 5, 4 / 5, 0], [0, 0, 0]], [[2 / 7, 3 / 7, 6 / 7], [-5 / 13, 0, 12 / 13]]]
    np.testing.assert_allclose(found, wanted, rtol=4 * np.finfo(kind).eps)


def test_spread_directions_are_as_even_as_the_sphere_asks():
    """Means over the sphere: nothing for x, y and z, a third for each of their squares (the moments of the unit
    sphere; Folland 2001, doi 10.1080/00029890.2001.11919774, from memory).
    """
    ways = spread_directions(500)
    np.testing.assert_allclose(np.linalg.norm(ways, axis=1), 1.0, rtol=1e-12)
    np.testing.assert_allclose(ways.mean(axis=0), 0.0, atol=2e-3)
    np.testing.assert_allclose(ways.T @ ways / 500, np.eye(3) / 3, atol=2e-3)
    nearest = np.sort(ways @ ways.T, axis=1)[:, -2]
    assert np.degrees(np.arccos(nearest)).min() > 0.7 * np.degrees(np.sqrt(4 * np.pi / 500))  # of a square's side
