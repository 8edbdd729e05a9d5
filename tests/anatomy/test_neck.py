"""Where the neck is found, on forms whose neck is known and on real and foreign heads."""

import numpy as np
import pytest
from canthus.anatomy.neck import find_cut, narrowest_depth
from canthus.geometry.errors import NotPossible
from canthus.geometry.solids.booleans import union
from canthus.geometry.solids.primitives import cylinder, frustum, sphere
from canthus.geometry.solids.sections import plane
from canthus.geometry.solids.trimming import largest_above
from captures import average_head, bust, mri_head

# A head of ANSUR II male means (reference_values section 2): 199.5 long, 154.3 broad, neck of circumference 397.7 as a
# circle of 126.6; crown at 131, chin at -101.
SKULL = sphere(1.0, sag=0.002).moved(np.diag([77.15, 99.75, 116.0, 1.0])).moved(np.eye(4))
SKULL = SKULL.moved(np.array([[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 15.0], [0, 0, 0, 1]], float))
NECK = cylinder((0, 20, -175), (0, 20, 0), 63.3, 0.05)
HEAD = union(SKULL, NECK)
SHOULDERS = frustum((0, 20, -320), (0, 20, -160), 250.0, 63.3, 0.1)
MARKS = {
    "gnathion": np.array([0.0, -80.0, -101.0]),
    "vertex": np.array([0.0, 10.0, 131.0]),
    "tragion-left": np.array([75.0, 0.0, 0.0]),
    "tragion-right": np.array([-75.0, 0.0, 0.0]),
}


@pytest.mark.parametrize("marks", [{}, MARKS])
@pytest.mark.parametrize("body", [HEAD, union(HEAD, SHOULDERS)])
def test_the_cut_goes_through_the_neck_not_through_chin_or_shoulders(marks, body):
    cut = find_cut(body, marks)
    assert cut.found == ("landmarks" if marks else "narrowest section")
    assert -165 < cut.plane.origin[2] < -95
    assert cut.width == pytest.approx(126.6, abs=0.5)
    np.testing.assert_allclose(cut.plane.origin[:2], [0, 20], atol=0.3)
    np.testing.assert_allclose(cut.plane.up, [0, 0, 1])


def test_a_collar_that_hides_the_neck_is_cut_under_the_chin_not_through_the_shoulders():
    """A cone from under the chin to the shoulders: no part of it is upright, and its top is the narrowest."""
    collar = frustum((0, 20, -175), (0, 20, -95), 190.0, 75.0, 0.1)
    chest = cylinder((0, 20, -320), (0, 20, -170), 190.0, 0.1)
    cut = find_cut(union(SKULL, NECK, collar, chest), MARKS)
    assert -120 < cut.plane.origin[2] < -101
    assert cut.found == "landmarks"


@pytest.mark.parametrize("marks", [{}, MARKS])
def test_shreds_at_the_end_of_a_scan_are_not_taken_for_a_narrow_neck(marks):
    """Prongs below the neck, as a closed scan has them where its points ran out unevenly."""
    prongs = [cylinder((x, 20 + y, -190), (x, 20 + y, -170), 9.0, 0.1) for x, y in ((40, 0), (-30, 30), (0, -45))]
    cut = find_cut(union(HEAD, *prongs), marks)
    assert -175 < cut.plane.origin[2] < -95
    assert cut.hollow == pytest.approx(0, abs=0.01)


def test_a_face_of_which_only_the_eyes_are_known_is_not_cut_into():
    """The same from the outer corners of the eyes: a chin lies no nearer below them than they are apart, 90 mm."""
    mask = union(sphere(60.0, (0, 0, 70), 0.1), cylinder((0, 0, -60), (0, 0, 60), 40.0, 0.1), sphere(50.0, (0, 0, -70)))
    corners = {f"exocanthion-{side}": np.array([x, -30.0, 20.0]) for side, x in (("left", 45.0), ("right", -45.0))}
    assert find_cut(mask).plane.origin[2] > -70
    assert find_cut(mask, corners).plane.origin[2] <= -70


def test_a_head_that_ends_above_its_chin_is_cut_at_its_lowest_whole_section():
    """As one cut off at the nose is, of which the eyes are known."""
    half = largest_above(HEAD, plane((0, 0, -20), (0, 0, 1)))
    corners = {f"exocanthion-{side}": np.array([x, -85.0, 20.0]) for side, x in (("left", 45.0), ("right", -45.0))}
    cut = find_cut(half, corners)
    assert cut.found == "lowest section"
    assert -20 < cut.plane.origin[2] < 0


def test_a_face_is_never_cut_into():
    """A mask whose narrow part is the middle of the face, as on a range map of a face with a crown and a beard."""
    mask = union(sphere(60.0, (0, 0, 70), 0.1), cylinder((0, 0, -60), (0, 0, 60), 40.0, 0.1), sphere(50.0, (0, 0, -70)))
    marks = {"subnasale": np.array([0.0, -41.0, -30.0]), "stomion": np.array([0.0, -41.0, -50.0])}
    for known, chin in ((marks, -90.0), ({"stomion": marks["stomion"]}, -50.0)):
        assert find_cut(mask, known).plane.origin[2] <= chin + 1


def test_the_same_at_a_sixth():
    scale = np.diag([1 / 6, 1 / 6, 1 / 6, 1])
    whole, small = find_cut(HEAD, MARKS), find_cut(HEAD.moved(scale), {name: at / 6 for name, at in MARKS.items()})
    np.testing.assert_allclose(small.plane.origin * 6, whole.plane.origin, atol=0.05)


def test_a_knot_of_hair_is_not_taken_for_a_head():
    knotted = union(HEAD, sphere(40.0, (0, 30, 160), 0.05))
    assert find_cut(knotted).plane.origin[2] == pytest.approx(find_cut(HEAD).plane.origin[2], abs=6)


def test_it_can_be_moved_and_tilted():
    there, moved = find_cut(HEAD, MARKS), find_cut(HEAD, MARKS, 12.0, np.radians(10))
    assert moved.plane.origin[2] - there.plane.origin[2] == pytest.approx(12.0, abs=0.5)
    assert np.degrees(np.arccos(moved.plane.up[2])) == pytest.approx(10)
    front = moved.plane.placed(np.array([[0.0, -50.0]]))[0]
    assert front[1] < 0
    assert front[2] > moved.plane.origin[2]


def test_depth_of_the_axis_is_the_least_up_the_neck():
    """A bar of radius 63.3 narrowing to 40 over 60 mm: at 30 mm it is 51.65 deep."""
    narrowing = frustum((0, 0, 0), (0, 0, 60), 63.3, 40.0, 0.01)
    face = plane((0, 0, 0), (0, 0, 1))
    assert narrowest_depth(narrowing, face, 30.0) == pytest.approx(51.65, abs=0.05)
    assert narrowest_depth(narrowing, face.raised(-5.0), 1.0) == -np.inf


@pytest.mark.parametrize("raise_by", [-17.3, 0.0, 3.1, 7.77])
def test_depth_is_told_right_on_a_face_that_is_cut_already(raise_by):
    """The cut face wavers by the steps of 32-bit coordinates; the neck over it is as deep as before it was cut."""
    small = HEAD.moved(np.diag([1 / 6, 1 / 6, 1 / 6, 1]))
    cut = find_cut(small, {name: at / 6 for name, at in MARKS.items()}, raise_by / 6, np.radians(7))
    face = largest_above(small, cut.plane)
    assert narrowest_depth(face, cut.plane, 0.0) == pytest.approx(63.3 / 6, abs=0.02)


def test_a_plane_under_the_head_is_refused():
    with pytest.raises(NotPossible, match="meets no material"):
        find_cut(HEAD, MARKS, -150.0)


def test_a_real_head_cut_off_at_the_nose_ends_on_its_lowest_section():
    """D3 ends at z = -71 in its own frame."""
    cut = find_cut(mri_head().moved(np.diag([-1.0, -1.0, 1.0, 1.0])))
    assert cut.found == "lowest section"
    assert cut.plane.origin[2] == pytest.approx(-71, abs=5)


def test_an_average_head_without_a_neck():
    """D5: ends at the chin, z = -164."""
    cut = find_cut(average_head().moved(np.diag([-1.0, -1.0, 1.0, 1.0])))
    assert cut.found == "lowest section"
    assert -160 < cut.plane.origin[2] < -120


def test_a_bust_on_a_plinth():
    """D2: head and hair are about half of the height; the neck lies under them and over the shoulders."""
    upright = np.array([[1, 0, 0, 0], [0, 0, -1, 0], [0, 1, 0, 0], [0, 0, 0, 1]], float)
    mesh = bust().moved(upright)
    low, high = mesh.vertices[:, 2].min(), mesh.vertices[:, 2].max()
    cut = find_cut(mesh)
    assert cut.found == "narrowest section"
    assert 0.4 < (cut.plane.origin[2] - low) / (high - low) < 0.65
