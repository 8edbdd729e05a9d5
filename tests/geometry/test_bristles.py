"""Lash clumps on a lid-like skin made from formulas."""

import numpy as np
from canthus.geometry.cleaning.bristles import bristles
from canthus.geometry.cloud import Cloud
from canthus.steps.clean.cull_lashes import CullLashes
from canthus.steps.workpiece import Landmark, Workpiece


def lid(count=16_000, seed=0, noise=0.05):
    """A globe of radius 12 under a lid 2 mm thick that ends in a rounded margin, face to -y; 40 mm across."""
    rng = np.random.default_rng(seed)
    ways = rng.standard_normal((count * 3, 3))
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    ways = ways[(ways[:, 1] < -0.25)][:count]
    open_eye = np.abs(ways[:, 2]) - 0.3 * np.sqrt(np.maximum(0, 1 - (ways[:, 0] / 0.9) ** 2))
    radius = 12 + 2 / (1 + np.exp(-open_eye * 60))  # from globe to lid within half a millimetre
    return ways * (radius + noise * rng.standard_normal(len(ways)))[:, None]


def clumps(count=400, seed=1):
    rng = np.random.default_rng(seed)
    across = rng.choice(np.linspace(-0.7, 0.7, 14), count) + rng.normal(0, 0.01, count)
    up = 0.3 * np.sqrt(1 - (across / 0.9) ** 2) + 0.03
    root = np.stack([across, -np.sqrt(1 - across**2 - up**2), up], axis=1)
    along = rng.beta(1.0, 1.8, count)[:, None] * 8
    curl = np.array([0, 0, 0.75]) * along**1.6 / 8**0.6
    return root * (14 + 0.85 * along) + curl + rng.normal(0, 0.15, (count, 3))


def test_lashes_go_and_the_margin_stays():
    """The project's bars: at least 90 % of the lash points that stand off; the lid is not eaten."""
    skin, lashes = lid(), clumps()
    found = bristles(np.concatenate([skin, lashes]), np.array([0, -200.0, 0]))
    off = np.linalg.norm(lashes, axis=1) > 14.5
    assert found[len(skin) :][off].mean() > 0.9
    assert found[: len(skin)].mean() < 0.01


def test_a_bare_lid_loses_next_to_nothing():
    assert bristles(lid(), np.array([0, -200.0, 0])).mean() < 0.005


def test_a_lid_scanned_coarsely_stays_between_its_lashes():
    """Points a millimetre apart: each has a lash among its neighbours. Followed from its crease 0.3 to 0.7 % of such a
    lid is lost, 2.2 to 3.2 % without (four seeds); the bar is ours.
    """
    for seed in (1, 2):
        skin, lashes = lid(1000, seed), clumps(100, seed + 1)
        assert bristles(np.concatenate([skin, lashes]), np.array([0, -200.0, 0]))[: len(skin)].mean() < 0.015


def test_too_few_points_are_left():
    assert not bristles(lid(30), np.array([0, -200.0, 0])).any()


def test_the_step_works_round_the_known_corners_only():
    skin, lashes = lid(), clumps()
    rest = np.random.default_rng(5).uniform((-40, 40, -40), (40, 90, 40), (500, 3))
    cloud = Cloud(np.concatenate([skin, lashes, rest]))
    corners = {"endocanthion-left": Landmark((-12.0, -6, 0)), "exocanthion-left": Landmark((12.0, -6, 0))}
    piece = CullLashes().apply(Workpiece(scan=cloud, landmarks=corners))
    assert len(piece.scan) == len(cloud) - piece.figures["lash_points"]
    assert 250 < piece.figures["lash_points"] < 600
    marked = CullLashes(mode="mark").apply(Workpiece(scan=cloud, landmarks=corners)).scan
    assert marked.columns["lash"].sum() == piece.figures["lash_points"]
    assert not marked.columns["lash"][-500:].any()


def test_without_eyes_nothing_is_culled_and_a_note_says_so():
    """A bare ball has no face."""
    ball = np.random.default_rng(0).standard_normal((20_000, 3))
    ball *= 80 / np.linalg.norm(ball, axis=1, keepdims=True)
    piece = CullLashes().apply(Workpiece(scan=Cloud(ball)))
    assert len(piece.scan) == 20_000
    assert "No eyes were found" in piece.notes[0]


def test_a_face_scanned_too_coarsely_is_told():
    corners = {"endocanthion-left": Landmark((-12.0, -6, 0)), "exocanthion-left": Landmark((12.0, -6, 0))}
    told = [
        " ".join(CullLashes().apply(Workpiece(scan=Cloud(lid(count)), landmarks=corners)).notes)
        for count in (400, 4000)
    ]
    assert "too few to tell all lashes" in told[0]
    assert not told[1]


def test_an_eye_that_was_not_scanned_is_left_out():
    corners = {"endocanthion-left": Landmark((-5.0, 0.0, 0.0)), "exocanthion-left": Landmark((5.0, 0.0, 0.0))}
    corners |= {"endocanthion-right": Landmark((-65.0, 0.0, 0.0)), "exocanthion-right": Landmark((-75.0, 0.0, 0.0))}
    points = np.vstack([lid(), clumps()])
    piece = CullLashes().apply(Workpiece(scan=Cloud(points), landmarks=corners))
    assert piece.figures["eyes_looked_at"] == 1
    assert 0 < piece.figures["lash_points"] < 600
    away = {name: Landmark((place.position[0] + 500.0, 0.0, 0.0)) for name, place in corners.items()}
    piece = CullLashes().apply(Workpiece(scan=Cloud(points), landmarks=away))
    assert piece.figures["eyes_looked_at"] == 0
    assert "No eyes were found" in piece.notes[-1]
