"""What a grid of winding numbers blurs near its points, put right by the points themselves."""

import numpy as np
from canthus.geometry.neighbours import arranged
from canthus.geometry.surfacing.poisson import NearField, winding_field

RADIUS, COUNT = 40.0, 20_000
AREA = 4 * np.pi * RADIUS**2 / COUNT


def cap(lowest):
    """Points of a sphere above a height, evenly by the golden spiral, with their outward normals."""
    turn, z = np.arange(COUNT) * np.pi * (3 - np.sqrt(5)), 1 - (2 * np.arange(COUNT) + 1) / COUNT
    normals = np.stack([np.sqrt(1 - z * z) * np.cos(turn), np.sqrt(1 - z * z) * np.sin(turn), z], axis=1)
    kept = RADIUS * z > lowest
    return RADIUS * normals[kept], normals[kept]


def winding(places, points, normals, step):
    """Read from the grid, and with what the points near add."""
    held = arranged(points)
    field = winding_field(points, normals * AREA, step, 3 * RADIUS)
    coarse = field.at(places)
    return coarse, coarse + NearField(held, normals[held.rows] * AREA, step).missing(places)


def test_beside_a_sheet_the_step_is_sharp_again():
    """Winding number of a sphere: 1 inside, 0 outside (Jacobson and others 2013), a fifth of a cell off it too."""
    points, normals = cap(-np.inf)
    rng = np.random.default_rng(0)
    ways = rng.standard_normal((400, 3))
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    away = rng.uniform(1.2, 8.0, 400) * np.where(np.arange(400) % 2, 1, -1)
    coarse, sharp = winding(ways * (RADIUS + away)[:, None], points, normals, 5.0)
    true = (away < 0).astype(float)
    assert np.abs(coarse - true).max() > 0.3
    assert np.abs(sharp - true).max() < 0.15
    assert np.sqrt(np.mean((sharp - true) ** 2)) < 0.03


def test_across_the_flat_of_a_rim_it_is_one_half_up_to_the_rim():
    """The solid angle of what is left, seen from the flat of the cut, is half of all directions."""
    points, normals = cap(-25.0)
    turn = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    for radius in (5.0, 20.0, 28.0, 29.5):  # the rim has sqrt(40^2 - 25^2) = 31.2
        places = np.stack([radius * np.cos(turn), radius * np.sin(turn), np.full(60, -25.0)], axis=1)
        assert np.abs(winding(places, points, normals, 5.0)[1].mean() - 0.5) < 0.03


def test_far_from_the_points_nothing_is_missing():
    points, normals = cap(-np.inf)
    held = arranged(points)
    near = NearField(held, normals[held.rows] * AREA, 2.0)
    assert not near.missing(np.array([[0.0, 0, 0], [100.0, 0, 0]])).any()
    assert len(near.missing(np.empty((0, 3)))) == 0
