"""Labelled captures: shares, noise, occlusion, and the same again from the same seed."""

import numpy as np
import pytest
from canthus.geometry.distances.closest import ClosestPoint
from canthus.geometry.distances.rays import RayCaster
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import sphere
from simulator.capture import raw_frame, simulate
from simulator.raster import seen_triangles
from simulator.settings import CLUSTER, LASH, SECOND_SKIN, SKIN, STRAY, VEIL, Settings
from simulator.views import stands

PLAIN = {"strays": 0.0, "clusters": 0.0, "veils": 0.0, "lashes": 0.0}


@pytest.fixture(scope="module")
def capture(head):
    return simulate(head.mesh, Settings(points=30_000, seed=5), head.truth)


def test_every_label_has_its_share(capture):
    settings = Settings()
    counts = np.bincount(capture.columns["label"], minlength=6) / len(capture)
    assert len(capture) == 30_000
    for label, share in ((STRAY, settings.strays), (CLUSTER, settings.clusters), (VEIL, settings.veils)):
        assert counts[label] == pytest.approx(share, rel=0.02)
    assert 0 < counts[LASH] <= settings.lashes
    assert counts[SKIN] > 0.97
    assert counts[SECOND_SKIN] == 0


def test_no_lashes_without_the_eyes(head):
    cloud = simulate(head.mesh, Settings(points=5_000, views=3), None)
    assert not (cloud.columns["label"] == LASH).any()


def test_truth_distance_is_the_distance_to_the_mesh(head, capture):
    rows = np.random.default_rng(0).choice(len(capture), 3000, replace=False)
    distance, _, _ = ClosestPoint(head.mesh).query(capture.points[rows])
    given = capture.columns["truth_distance"][rows]
    label = capture.columns["label"][rows]
    np.testing.assert_allclose(given[label != SKIN], distance[label != SKIN], atol=1e-3)
    # For skin it is the noise along the ray seen square to its triangle: a first-order figure.
    assert np.mean(np.abs(given - distance)[label == SKIN]) < 0.02


def test_noise_facing_the_scanner_is_as_set_and_grows_aside():
    ball = sphere(80.0, (0.0, 0.0, 0.0), sag=0.02)
    cloud = simulate(ball, Settings(points=40_000, views=1, noise=0.1, dropout=0.0, **PLAIN))
    ray = cloud.points - cloud.sensors[0]
    ray /= np.linalg.norm(ray, axis=1, keepdims=True)
    radius = np.linalg.norm(cloud.points, axis=1)
    facing = -np.einsum("nk,nk->n", ray, cloud.points / radius[:, None])
    along = (radius - 80.0) / np.maximum(facing, 0.1)
    assert np.std(along[facing > 0.97]) == pytest.approx(0.1, rel=0.1)
    assert np.std(along[facing < 0.5]) > 0.14


def test_what_a_view_sees_nothing_hides(head):
    """Checked against the project's ray caster: nothing lies between the scanner and a point of skin."""
    cloud = simulate(head.mesh, Settings(points=5_000, views=4, noise=0.0, dropout=0.0, **PLAIN))
    sensor = cloud.sensors[cloud.columns["view"]]
    way = cloud.points - sensor
    length = np.linalg.norm(way, axis=1)
    distance, _ = RayCaster(head.mesh).first_hit(sensor, way / length[:, None])
    hidden = distance < length - 0.5
    assert hidden.mean() < 0.002


def test_a_wall_hides_what_is_behind_it():
    front = np.array([[0, 0], [9, 0], [0, 9.0]])
    image = np.concatenate([front, front])
    depth = np.array([5.0] * 3 + [3.0] * 3)
    seen = seen_triangles(image, depth, np.array([[0, 1, 2], [3, 4, 5]], np.int32), (10, 10))
    assert set(np.unique(seen)) == {-1, 1}
    assert seen[0, 0] == 1
    assert seen[9, 9] == -1


def test_a_second_skin_lies_as_far_off_as_asked(head):
    cloud = simulate(head.mesh, Settings(points=20_000, noise=0.0, second_skin=0.6, **PLAIN))
    away = cloud.columns["truth_distance"][cloud.columns["label"] == SECOND_SKIN]
    assert len(away) > 500
    assert 0.3 < np.median(away) < 0.75
    assert (cloud.columns["truth_distance"][cloud.columns["label"] == SKIN] < 0.01).all()


def test_dark_hair_drops_out_and_skin_does_not(head):
    from demo_head.colours import REGIONS

    hair = REGIONS.index("hair")
    shares = []
    for dropout in (0.0, 0.8):
        cloud = simulate(head.mesh, Settings(points=20_000, dropout=dropout, **PLAIN))
        _, triangle, _ = ClosestPoint(head.mesh).query(cloud.points[:4000])
        shares.append(np.mean(head.mesh.columns["region"][head.mesh.triangles[triangle, 0]] == hair))
    assert shares[1] < 0.75 * shares[0]


def test_the_same_seed_gives_the_same_capture_and_another_does_not(head):
    first, again, other = (simulate(head.mesh, Settings(points=4000, seed=s, views=3), head.truth) for s in (1, 1, 2))
    np.testing.assert_array_equal(first.points, again.points)
    assert not np.array_equal(first.points, other.points)


def test_a_raw_capture_lies_anyhow_and_in_metres(head):
    posed, raw = (Settings(points=4000, views=3, posed=p, unit=u) for p, u in ((True, "mm"), (False, "m")))
    there = simulate(head.mesh, posed, head.truth).moved(raw_frame(raw))
    cloud = simulate(head.mesh, raw, head.truth)
    np.testing.assert_allclose(cloud.points, there.points, atol=1e-9)
    assert 0.2 < np.ptp(cloud.points, axis=0).max() < 0.8
    assert np.linalg.det(raw_frame(raw)[:3, :3]) == pytest.approx(1e-9)


def test_scanners_stand_at_arms_length_and_the_first_before_the_face():
    ball = Mesh(*(lambda m: (m.vertices, m.triangles))(sphere(90.0, (0.0, 0.0, 0.0), sag=0.5)))
    views = stands(ball, 14, 450.0, np.random.default_rng(0))
    assert len(views) == 14
    assert views[0].sensor[1] < -380
    assert all(400 < np.linalg.norm(view.sensor) < 500 for view in views)


@pytest.mark.parametrize("wrong", [{"points": 10}, {"views": 0}, {"strays": 0.6}, {"unit": "furlong"}])
def test_settings_that_make_no_capture_are_refused(wrong):
    with pytest.raises(ValueError, match=r"capture|unit"):
        Settings(**wrong)


def test_the_cut_a_bust_stands_on_is_not_skin(head):
    """A person's neck goes on: a capture of one is open below."""
    bottom = head.mesh.vertices[:, 2].min()
    inside = {}
    for height in (0.0, 2.0):
        cloud = simulate(head.mesh, Settings(points=6000, views=6, noise=0.0, open_below=height, **PLAIN))
        low = cloud.points[cloud.points[:, 2] < bottom + 1.0]
        inside[height] = (np.hypot(low[:, 0], low[:, 1] + 10) < 30).sum()
    assert inside[0.0] > 20
    assert inside[2.0] == 0
