"""Booleans against closed forms (reference values, section 8: computed) and against what files do to them."""

import numpy as np
import pytest
from canthus.geometry.errors import BadMesh, NotPossible
from canthus.geometry.measures import edge_faults, genus, is_watertight, triangle_areas, volume
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.booleans import difference, intersection, shared_by_pairs, split, union
from canthus.geometry.solids.primitives import box, cylinder, icosphere, sphere
from canthus.geometry.transforms import rotation, transform

FINE = 2e-4  # sag: the facets' share of the volume then stays under 1e-4


def read_back_as_stl(mesh):
    """What a reader of binary STL has after welding by position: the welded mesh, degenerate faces and all."""
    corners = mesh.corners.astype(np.float32).reshape(-1, 3)
    vertices, inverse = np.unique(corners, axis=0, return_inverse=True)
    return Mesh(vertices.astype(float), inverse.reshape(-1, 3))


def test_a_bored_sphere():
    bored = difference(sphere(12, sag=FINE), cylinder((0, 0, -20), (0, 0, 20), 6, sag=FINE))
    assert volume(bored) == pytest.approx(4701.3680, rel=1e-4)
    assert genus(bored) == 1
    assert is_watertight(bored)


def test_two_spheres():
    sclera, cornea = sphere(12, sag=FINE), sphere(8, (0, -5, 0), sag=FINE)
    assert volume(intersection(sclera, cornea)) == pytest.approx(2085.2321, rel=1e-4)
    assert volume(union(sclera, cornea)) == pytest.approx(7297.6579, rel=1e-4)


def test_a_cap_cut_by_a_plane():
    cap, rest = split(sphere(12, sag=FINE), (0, 0, 9), (0, 0, 5))
    assert volume(cap) == pytest.approx(311.0177, rel=5e-4)
    assert volume(cap) + volume(rest) == pytest.approx(7238.2295, rel=1e-4)
    assert cap.vertices[:, 2].min() == pytest.approx(9, abs=1e-5)
    assert is_watertight(cap)
    assert is_watertight(rest)


def test_a_shell_has_an_outer_and_an_inner_face():
    shell = difference(sphere(20, sag=FINE), sphere(18, sag=FINE))
    assert volume(shell) == pytest.approx(9081.2972, rel=1e-4)
    assert is_watertight(shell)


def test_colours_of_the_parents_are_kept():
    ball = sphere(10, sag=0.1)
    red = Mesh(ball.vertices, ball.triangles, np.full((len(ball.vertices), 3), (200, 10, 30), np.uint8))
    block = box((0, -20, -20), (20, 20, 20))
    blue = Mesh(block.vertices, block.triangles, np.full((8, 3), (10, 20, 220), np.uint8))
    cut = difference(red, blue)
    assert is_watertight(cut)
    outside = np.linalg.norm(cut.vertices, axis=1) > 9.8
    assert (cut.colours[outside & (cut.vertices[:, 0] < -0.1)] == (200, 10, 30)).all()
    plain = difference(red, block)  # a tool without colour leaves the mean of the solid
    assert (plain.colours == (200, 10, 30)).all()


@pytest.mark.parametrize("second", [((1, 1, 0), (2, 2, 1)), ((1, 1, 1), (2, 2, 2)), ((1, 0, 0), (2, 1, 1))])
def test_solids_that_touch_stay_closed_when_an_stl_reader_welds_them(second):
    both = union(box((0, 0, 0), (1, 1, 1)), box(*second))
    assert volume(both) == pytest.approx(2, rel=1e-4)
    assert is_watertight(both)
    assert is_watertight(read_back_as_stl(both))


def test_near_coincident_cuts_leave_no_slivers_that_a_file_would_break():
    """Tools a fraction of a micrometre apart give vertices closer than a 32-bit float can tell at this place."""
    ball = sphere(20, (137.3, -88.1, 240.7), sag=0.02)
    tools = [box((120, -120, 240 + k * 3e-6), (137 + k * 1e-6, -80, 300)) for k in range(4)]
    cut = difference(ball, *tools)
    back = read_back_as_stl(cut)
    assert is_watertight(back)
    assert len(back.vertices) == len(cut.vertices)
    assert triangle_areas(cut).min() > 0


@pytest.mark.parametrize("seed", range(6))
def test_random_bites_out_of_a_ball_survive_an_stl(seed):
    chance = np.random.default_rng(seed)
    ball = sphere(19, sag=0.01)
    tools = [sphere(chance.uniform(1, 6), chance.normal(size=3) * 11, sag=0.01) for _ in range(6)]
    cut = difference(ball, *tools)
    assert is_watertight(cut)
    assert is_watertight(read_back_as_stl(cut))


def test_open_solids_are_refused_with_their_faults():
    ball = icosphere(2)
    with pytest.raises(BadMesh, match=r"solid 2 is not a closed surface: 3 edges open"):
        difference(box((0, 0, 0), (1, 1, 1)), Mesh(ball.vertices, ball.triangles[1:]))


def test_a_plane_needs_a_direction():
    with pytest.raises(NotPossible):
        split(icosphere(1), (0, 0, 0), (0, 0, 0))


def test_nothing_in_common_is_an_empty_mesh():
    nothing = intersection(box((0, 0, 0), (1, 1, 1)), box((2, 2, 2), (3, 3, 3)))
    assert len(nothing.triangles) == 0
    assert not edge_faults(nothing)


def test_what_pairs_share_is_told_by_volume_and_place():
    """Two boxes that share 2 x 3 x 4, a third that only touches, and slivers that no mesh could be made of."""
    one, other, beside = box((0, 0, 0), (5, 5, 5)), box((3, 2, 1), (9, 9, 9)), box((5, 0, 0), (8, 1.5, 1))
    tilted = box((-9, -9, 5 - 1e-9), (9, 9, 7)).moved(transform(rotation((1.0, 2.0, 0.0), 1e-10)))
    (shared, place), (nothing, _), (sliver, _) = shared_by_pairs([one, other, beside, tilted], [(0, 1), (0, 2), (0, 3)])
    assert shared == pytest.approx(2 * 3 * 4)
    np.testing.assert_allclose(place, [4, 3.5, 3], atol=1e-9)
    assert nothing == pytest.approx(0, abs=1e-12)
    assert sliver == pytest.approx(0, abs=1e-6)
