"""Walls of plates, wedges and shells, whose thickness is plain; and which of them are thin for good."""

import numpy as np
import pytest
from canthus.geometry.mesh import Mesh
from canthus.geometry.printing.cavities import hollowed
from canthus.geometry.printing.thickness import wall_thickness
from canthus.geometry.solids.booleans import difference, union
from canthus.geometry.solids.primitives import box, cylinder, icosphere, sphere


def wedge(degrees, length=10.0, width=8.0):
    """A bar with a knife's edge along y at x = 0, its lower face flat, opened by that many degrees."""
    height = length * np.tan(np.radians(degrees))
    profile = np.array([[0.0, 0.0], [length, 0.0], [length, height]])
    vertices = np.concatenate([np.insert(profile, 1, y, axis=1) for y in (0.0, width)])
    sides = [(0, 1, 2), (5, 4, 3), (0, 4, 1), (0, 3, 4), (1, 5, 2), (1, 4, 5), (2, 3, 0), (2, 5, 3)]
    return Mesh(vertices, np.array(sides))


@pytest.mark.parametrize("thickness", [0.05, 0.4, 2.0])
def test_a_plate_is_as_thick_as_it_is(thickness):
    walls = wall_thickness(box((0, 0, 0), (30, 20, thickness)), spacing=0.3)
    flat = np.abs(walls.normal[:, 2]) == 1
    np.testing.assert_allclose(walls.thickness[flat], thickness, atol=1e-9)


def test_the_wall_between_two_balls():
    shell = hollowed(sphere(10, sag=0.002), sphere(8.5, sag=0.002))
    walls = wall_thickness(shell, spacing=0.2)
    np.testing.assert_allclose(walls.thickness, 1.5, atol=0.02)
    np.testing.assert_allclose(np.linalg.norm(walls.place - walls.far_side, axis=1), walls.thickness)


@pytest.mark.parametrize("degrees", [10, 25, 40])
def test_a_wedge_tapers_to_its_edge(degrees):
    """Straight up from the flat face, a way x from the edge, the wedge is x tan(angle) thick."""
    walls = wall_thickness(wedge(degrees), spacing=0.1)
    flat = walls.normal[:, 2] == -1
    expected = walls.place[flat, 0] * np.tan(np.radians(degrees))
    np.testing.assert_allclose(walls.thickness[flat], expected, atol=0.02)


def test_samples_stand_for_equal_areas():
    """A fin on a block: its share of the area is known."""
    block = union(box((0, 0, 0), (10, 10, 10)), box((4, 0, 9), (4.2, 10, 14)))
    area = 6 * 100 + 2 * 4 * 10 + 2 * 4 * 0.2  # the block's faces, the fin's two sides, its two narrow ends
    assert wall_thickness(block, spacing=0.1).share_below(0.3) == pytest.approx(80 / area, rel=0.01)


@pytest.mark.parametrize(("degrees", "thin"), [(30, True), (55, False), (90, False)])
def test_a_sharp_edge_is_no_thin_wall_but_a_long_taper_is(degrees, thin):
    bar = wedge(degrees, 5) if degrees < 90 else box((0, 0, 0), (5, 8, 5))
    raw = wall_thickness(bar, spacing=0.1)
    walls = raw.as_walls(0.4).only(raw.place[:, 0] < 2)  # a wedge is sharp at its heel too
    assert (walls.thickness.min() < 0.4) == thin
    if thin:
        assert raw.thickness.min() < 0.05
        assert walls.thickness.min() == pytest.approx(0.9 * 0.4 * np.tan(np.radians(degrees)), abs=0.04)


def test_a_thin_plate_stays_thin_to_its_rim():
    walls = wall_thickness(box((0, 0, 0), (6, 6, 0.25)), spacing=0.1).as_walls(0.4)
    flat = np.abs(walls.normal[:, 2]) == 1
    np.testing.assert_allclose(walls.thickness[flat], 0.25, atol=1e-9)


def test_a_thin_rod_and_a_thin_floor_of_a_pit_are_found():
    rod = union(box((0, 0, 0), (10, 10, 3)), cylinder((5, 5, 2), (5, 5, 8), 0.15, 0.001))
    walls = wall_thickness(rod, spacing=0.1).as_walls(0.4)
    place = walls.place[walls.thickness < 0.32]
    assert len(place) > 100
    assert np.hypot(*(place[:, :2] - 5).T).max() < 0.16
    pit = difference(box((0, 0, 0), (10, 10, 3)), cylinder((5, 5, 0.2), (5, 5, 4), 1.0, 0.002))
    found = wall_thickness(pit, spacing=0.1).as_walls(0.4)
    assert found.thickness.min() == pytest.approx(0.2, abs=1e-6)
    assert np.hypot(*(found.place[found.thickness < 0.4][:, :2] - 5).T).max() < 1.01


def test_slivers_do_not_count():
    """A face cut into slivers by a vertex a millionth off its edge, as cuts leave them: their normals are chance."""
    plain = box((0, 0, 0), (8, 8, 8))
    top = np.flatnonzero((plain.corners[:, :, 2] == 8).all(axis=1))[0]
    a, b, c = plain.triangles[top]
    off = plain.vertices[[a, b]].mean(axis=0) + np.array([0, 0, 3e-7])
    fan = np.array([[a, 8, c], [8, b, c], [b, 8, a]])
    cut = Mesh(np.vstack([plain.vertices, off]), np.concatenate([np.delete(plain.triangles, top, axis=0), fan]))
    assert wall_thickness(cut, spacing=0.1).as_walls(0.4).thickness.min() > 7.9


def test_crumbs_as_small_as_triangles_are_no_thin_walls():
    """A ball with one vertex in a hundred pulled out and aside by an edge, as noise crumples a fine scan: rays from the
    flanks of such a crumb come out through the other flank.
    """
    ball, chance = icosphere(6, 5.0), np.random.default_rng(3)
    out = ball.vertices / 5.0
    chosen = chance.random((len(out), 1)) < 0.01
    aside = np.cross(out, chance.normal(size=out.shape))
    aside /= np.linalg.norm(aside, axis=1, keepdims=True)
    raw = wall_thickness(Mesh(ball.vertices + 0.1 * chosen * (out + aside), ball.triangles), spacing=0.1)
    assert (raw.thickness < 0.1).sum() > 100
    assert raw.as_walls(0.4).thickness.min() > 1.0


@pytest.mark.parametrize("spacing", [0.1, 1.0])
def test_a_thin_plate_is_found_however_few_places_are_looked_at(spacing):
    """At life size 200,000 places lie a millimetre apart: farther than the wall is thick."""
    walls = wall_thickness(box((0, 0, 0), (40, 40, 0.3)), spacing=spacing).as_walls(0.4)
    assert walls.share_below(0.4) > 0.95
    assert walls.thickness.min() == pytest.approx(0.3, abs=1e-9)
