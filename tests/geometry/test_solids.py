"""Solids against their closed forms (reference values, section 8: computed)."""

import numpy as np
import pytest
from canthus.geometry.errors import NotPossible
from canthus.geometry.measures import area, edge_faults, genus, triangle_normals, volume
from canthus.geometry.solids.primitives import box, capsule, cylinder, frustum, icosphere, prism, revolved, sphere

# vertices, triangles, volume and area as shares of the ball's, by midpoint subdivision 0 to 6
ICOSPHERES = [
    (12, 20, 0.605461, 0.761918),
    (42, 80, 0.873453, 0.928345),
    (162, 320, 0.966161, 0.981178),
    (642, 1280, 0.991394, 0.995235),
    (2562, 5120, 0.997839, 0.998805),
    (10242, 20480, 0.999459, 0.999701),
    (40962, 81920, 0.999865, 0.999925),
]


@pytest.mark.parametrize("level", range(7))
def test_icosphere_matches_the_table(level):
    vertices, triangles, volume_share, area_share = ICOSPHERES[level]
    ball = icosphere(level, 3.0)
    assert (len(ball.vertices), len(ball.triangles)) == (vertices, triangles)
    assert volume(ball) / (36 * np.pi) == pytest.approx(volume_share, abs=6e-7)
    assert area(ball) / (36 * np.pi) == pytest.approx(area_share, abs=6e-7)


@pytest.mark.parametrize(("radius", "sag"), [(12, 0.002), (2, 0.002), (12, 0.05), (1, 0.1), (6, 0.0005)])
def test_no_facet_of_a_sphere_lies_deeper_than_the_sag(radius, sag):
    ball = sphere(radius, (1, -2, 3), sag)
    depth = np.einsum("ij,ij->i", triangle_normals(ball), ball.corners[:, 0] - [1, -2, 3])
    assert depth.min() >= radius - sag
    np.testing.assert_allclose(np.linalg.norm(ball.vertices - [1, -2, 3], axis=1), radius, rtol=1e-14)
    assert not edge_faults(ball)
    assert volume(ball) > 0


# the peg and the frustum of section 8, a cone, and a bar that lies askew
@pytest.mark.parametrize(
    ("solid", "expected"),
    [
        (cylinder((0, 0, 0), (0, 0, 8), 3), 226.1947),
        (frustum((0, 0, 0), (0, 0, 8), 4, 3), 309.9705),
        (frustum((0, 0, 0), (0, 0, 8), 4, 0), np.pi * 16 * 8 / 3),
        (cylinder((1, 2, 3), (5, -1, 4), 2), np.pi * 4 * 26**0.5),
        (capsule((0, 0, 0), (10, 0, 0), 3), 395.8407),
        (sphere(12), 7238.2295),
        (sphere(6), 904.7787),
    ],
)
def test_volume_of_round_solids(solid, expected):
    assert volume(solid) == pytest.approx(expected, rel=1.5e-3)
    assert volume(solid) < expected  # facets are inscribed
    assert not edge_faults(solid)
    assert genus(solid) == 0


def test_area_of_a_capsule():
    assert area(capsule((0, 0, 0), (0, 0, 10), 3)) == pytest.approx(301.5929, rel=1e-3)


def test_a_prism_with_a_hole_either_way_round():
    outline, hole = [(0, 0), (4, 0), (4, 4), (0, 4)], [(1, 1), (3, 1), (3, 3), (1, 3)]
    for ring in (outline, outline[::-1]):
        tube = prism(ring, -1, 1, [hole])
        assert volume(tube) == pytest.approx(24, rel=1e-14)
        assert not edge_faults(tube)
        assert genus(tube) == 1


def test_a_concave_prism():
    ell = prism([(0, 0), (3, 0), (3, 1), (1, 1), (1, 3), (0, 3)], 0, 2)
    assert volume(ell) == pytest.approx(10, rel=1e-14)
    assert not edge_faults(ell)


def test_a_profile_may_run_up_or_down_the_axis():
    profile = [(2.0, 0.0), (1.0, 1.0), (2.0, 2.0)]
    for ring in (profile, profile[::-1]):
        waist = revolved(ring, sag=1e-4)
        assert volume(waist) == pytest.approx(2 * np.pi * 7 / 3, rel=1e-3)  # two frusta of 2 to 1, 1 high
        assert not edge_faults(waist)


@pytest.mark.parametrize(
    "impossible",
    [
        lambda: sphere(0),
        lambda: cylinder((0, 0, 0), (0, 0, 0), 1),
        lambda: box((0, 0, 0), (1, 0, 1)),
        lambda: prism([(0, 0), (1, 1)], 0, 1),
        lambda: prism([(0, 0), (1, 0), (0, 1)], 1, 1),
        lambda: revolved([(1, 0), (-1, 1)]),
        lambda: revolved([(1, 0), (0, 1), (1, 2)]),
    ],
)
def test_what_cannot_be_made_is_refused(impossible):
    with pytest.raises(NotPossible):
        impossible()
