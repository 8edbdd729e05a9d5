"""Which way up: bowls, cones and brackets, whose answers anyone who prints would give."""

import numpy as np
import pytest
from canthus.geometry.printing.standing import stands
from canthus.geometry.solids.booleans import difference, union
from canthus.geometry.solids.primitives import box, cylinder, frustum

UP = np.array([0.0, 0.0, 1.0])


def all_of(mesh):
    return np.ones(len(mesh.triangles), bool)


def none_of(mesh):
    return np.zeros(len(mesh.triangles), bool)


def test_a_bowl_is_not_printed_mouth_up():
    """Mouth to the film it sucks with its whole mouth, 8 mm in radius; mouth down, with its inside left without
    supports, it neither sucks nor scars, and stands on its rim."""
    bowl = difference(cylinder((0, 0, 0), (0, 0, 8), 10, 0.01), cylinder((0, 0, 2), (0, 0, 9), 8, 0.01))
    inside = np.hypot(*bowl.corners.mean(axis=1)[:, :2].T) < 8.01
    inside &= bowl.corners[:, :, 2].min(axis=1) > 1.99
    now, best = stands(bowl, UP, none_of(bowl), ~inside)
    assert now.suction == pytest.approx(64 * np.pi, rel=0.02)
    assert best.up == (0.0, 0.0, -1.0)
    assert (best.suction, best.other_scars) == (0.0, 0.0)
    assert best.burden < now.burden
    _, supported = stands(bowl, UP, none_of(bowl), all_of(bowl))
    assert supported.suction < 20  # with supports in it too it is tilted, but its mouth is never to the film
    assert supported.up[2] < 0


def test_a_cone_stands_on_its_base():
    cone = frustum((0, 0, 0), (0, 0, 20), 0.0, 6.0, 0.01)
    now, best = stands(cone, UP, none_of(cone), all_of(cone))
    np.testing.assert_allclose(best.up, (0, 0, -1), atol=1e-3)
    assert best.burden < now.burden
    assert stands(cone, -UP, none_of(cone), all_of(cone))[1].burden == pytest.approx(best.burden)


def test_a_bracket_does_not_hold_its_arm_out():
    """An L upside down: 16 by 4 mm of its arm hang in the air; flat on its side it is 4 mm high and nothing does."""
    bracket = union(box((0, 0, 16), (20, 4, 20)), box((0, 0, 0), (4, 4, 20)))
    now, best = stands(bracket, UP, none_of(bracket), all_of(bracket))
    assert now.other_scars == pytest.approx(64)
    assert best.other_scars == best.islands == 0
    assert best.height == pytest.approx(4)


def test_the_face_counts_for_more():
    """A brick whose underside is its face: it is turned over, or on end, however high it comes."""
    brick = union(box((0, 0, 0), (12, 12, 9)), box((3, 3, -1), (9, 9, 1)))
    face = brick.corners[:, :, 2].max(axis=1) < 0.01
    now, best = stands(brick, UP, face, all_of(brick))
    assert now.face_scars == pytest.approx(144 - 36)  # the boss stands on the plate, the ledge about it hangs
    assert best.face_scars == 0


def test_what_does_not_fit_on_the_plate_is_not_suggested():
    bracket = union(box((0, 0, 16), (20, 4, 20)), box((0, 0, 0), (4, 4, 20)))
    _, best = stands(bracket, UP, none_of(bracket), all_of(bracket), plate=(22.0, 10.0, 50.0))
    turned = np.ptp(bracket.vertices @ np.array(best.up))
    assert turned == pytest.approx(20, abs=4)  # lying flat it would take 20 by 20
