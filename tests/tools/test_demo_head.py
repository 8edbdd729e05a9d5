"""The demo head against the published norms it was built from, and against its own truth."""

from functools import partial

import numpy as np
import pytest
from canthus.geometry.measures import components, euler, is_watertight
from demo_head import eyes, proportions, sculpture, skull, truth
from demo_head.build import build
from demo_head.colours import REGIONS
from demo_head.eyes import EyeForm
from demo_head.variation import TRAITS, Variation


@pytest.fixture(scope="session")
def lengths():
    eye = EyeForm()
    marks = truth.sculpted_landmarks(partial(sculpture.whole_head, eye=eye), eye)
    for side, sign in truth.SIDES.items():
        marks[f"pupil-{side}"] = np.array(eye.centre) * [sign, 1, 1]
    return proportions.measured(lambda points: eyes.set_in(sculpture.bare_head(points), points, eye), marks)


@pytest.mark.parametrize(
    "name", [name for name, norm in proportions.NORMS.items() if "memory" not in norm.source and "ear " not in name]
)
def test_a_length_lies_within_a_standard_deviation_of_its_published_mean(lengths, name):
    """ANSUR II, Read et al. 2006 and the papers named beside each norm in proportions.py."""
    norm = proportions.NORMS[name]
    assert lengths[name] == pytest.approx(norm.mean, abs=norm.deviation)


@pytest.mark.parametrize("name", [name for name, norm in proportions.NORMS.items() if "memory" in norm.source])
def test_the_profile_lies_within_two_deviations_of_norms_quoted_from_memory(lengths, name):
    norm = proportions.NORMS[name]
    assert lengths[name] == pytest.approx(norm.mean, abs=2 * norm.deviation)


def test_ears_are_of_published_size(head):
    """ANSUR II: ear length, breadth and protrusion; taken off the part of the mesh that stands off the head."""
    from demo_head.ears import on_ear

    sculpted = head.mesh.vertices * [1, -1, 1]
    left = sculpted[on_ear(sculpted) & (sculpted[:, 0] > 66)]
    slanted = np.array([0, -np.sin(np.radians(14)), np.cos(np.radians(14))])
    norm = proportions.NORMS["ear length"]
    assert np.ptp(left @ slanted) == pytest.approx(norm.mean, abs=norm.deviation)


def test_it_is_one_closed_surface_without_handles(head):
    assert is_watertight(head.mesh)
    assert len(np.unique(components(head.mesh))) == 1
    assert euler(head.mesh) == 2


def test_its_volume_lies_between_that_of_a_cranium_and_a_box(head):
    """The ellipsoid estimate for a man is 3.74 litres without the neck (reference values, section 2)."""
    from canthus.geometry.measures import volume

    assert 3.2e6 < volume(head.mesh) < 5.6e6


def test_visible_sclera_and_cornea_lie_on_the_two_spheres(head):
    """Two-sphere eye model 12 : 8, centres 5 apart: Le Grand and El Hage 1980, doi 10.1007/978-3-540-39053-4_2."""
    for eye in head.truth.eyes.values():
        assert eye.cornea_radius / eye.radius == pytest.approx(8 / 12)
        near = np.linalg.norm(head.mesh.vertices - eye.centre, axis=1) < eye.radius + 2
        regions = head.mesh.columns["region"]
        for name, centre, radius in (
            ("sclera", eye.centre, eye.radius),
            ("pupil", eye.cornea_centre, eye.cornea_radius),
        ):
            vertices = head.mesh.vertices[near & (regions == REGIONS.index(name))]
            assert len(vertices) > 30
            away = np.linalg.norm(vertices - centre, axis=1) - radius
            assert np.median(np.abs(away)) < 0.02


def test_each_eye_lies_on_its_side_between_its_corners(head):
    marks = head.truth.landmarks
    for side, sign in truth.SIDES.items():
        eye = head.truth.eyes[side]
        inner, outer = marks[f"endocanthion-{side}"], marks[f"exocanthion-{side}"]
        assert sign * inner[0] < sign * eye.centre[0] < sign * outer[0]
        for margin in (eye.upper_margin, eye.lower_margin):
            np.testing.assert_allclose(np.linalg.norm(margin - eye.centre, axis=1), eye.radius, atol=0.02)


def test_lids_are_as_thick_as_the_truth_says_along_both_edges():
    """Whole lid about 2 mm at the edge: skin, orbicularis and tarsus add to 1.97 (reference values, section 1)."""
    eye = EyeForm()
    form = partial(sculpture.whole_head, eye=eye)
    for margin, way in zip(eye.margins, (1, -1), strict=True):
        for bearing in (-20, 0, 20, 35):
            direction = truth._direction(bearing, float(margin(bearing)) + 4.0 * way)
            outside = truth.first_skin(form, eye.centre, direction, 22.0)
            assert np.linalg.norm(outside - eye.centre) - eye.radius == pytest.approx(eye.lid_thickness, abs=0.25)


def test_landmarks_lie_on_the_surface(head):
    from canthus.geometry.distances.closest import ClosestPoint

    marks = head.truth.landmarks
    distance, _, _ = ClosestPoint(head.mesh).query(np.array(list(marks.values())))
    off = dict(zip(marks, distance, strict=True))
    assert max(off.values()) < 0.8, off


def test_tragia_and_orbitalia_lie_on_the_frankfurt_plane(head):
    """The Frankfurt horizontal on the living: both tragia and the left orbitale."""
    marks = head.truth.landmarks
    for name in ("tragion-left", "tragion-right", "orbitale-left"):
        assert abs(marks[name][2]) < 1.0


def test_the_same_seed_gives_the_same_head():
    first, second = build(seed=3, grid_mm=2.5), build(seed=3, grid_mm=2.5)
    np.testing.assert_array_equal(first.mesh.vertices, second.mesh.vertices)
    assert first.truth.to_json() == second.truth.to_json()


def test_twenty_people_differ_and_keep_their_eyes_round():
    places = np.random.default_rng(0).normal(0, 1, (400, 3))
    places = places / np.linalg.norm(places, axis=1, keepdims=True)
    jaws = []
    for seed in range(20):
        variation = Variation.drawn(seed)
        globe = np.array(variation.eye.centre) + variation.eye.radius * places
        moved = variation.apply(globe)
        radius = np.linalg.norm(moved - moved.mean(axis=0) + places.mean(axis=0) * variation.eye.radius, axis=1)
        np.testing.assert_allclose(radius, variation.eye.radius, atol=1e-6)
        jaws.append(variation.apply(np.array([[52.0, 18.0, -60.0]]))[0, 0])
    assert np.std(jaws) > 1.5
    assert len(TRAITS) > 15


def test_a_seed_never_folds_the_surface():
    """The move of the finished surface has a positive Jacobian everywhere around the head."""
    grid = np.stack(np.meshgrid(*(np.arange(-90, 130, 12.0),) * 3, indexing="ij"), -1).reshape(-1, 3)
    for seed in range(20):
        variation = Variation.drawn(seed)
        steps = [variation.apply(grid + way) - variation.apply(grid - way) for way in 0.5 * np.eye(3)]
        assert np.linalg.det(np.stack(steps, 2)).min() > 0.4


def test_the_neck_ends_in_a_level_cut(head):
    bottom = head.mesh.vertices[:, 2].min()
    assert bottom == pytest.approx(skull.NECK_END, abs=3.0)
