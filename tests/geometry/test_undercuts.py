"""What reaches under is trimmed by as much as it must be, and comes off."""

import numpy as np
import pytest
from canthus.geometry.lifting.undercuts import freed
from canthus.geometry.measures import components, is_watertight, volume
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.booleans import difference, intersection, shared_by_pairs, union
from canthus.geometry.solids.primitives import box, sphere
from canthus.geometry.transforms import rotation, transform

BALL, DOWN_TO, ROOM = 10.0, -5.0, 0.1
TOUCH = 1e-4
"""Cubic millimetres: a square millimetre of faces that lie in each other by a tenth of a micrometre."""
UP = np.array([0.0, 0.0, 1.0])
HAIR = difference(sphere(12.5, sag=0.02), sphere(BALL + 0.02, sag=0.005), box((-20, -20, -20), (20, 20, DOWN_TO)))


def shared_on_the_way(part, solid, way):
    moved = [part.moved(transform(np.eye(3), out * way)) for out in (0.0, 0.05, 0.3, 1.0, 3.0, 8.0)]
    pairs = [(0, number + 1) for number in range(len(moved))]
    return max(shared for shared, _ in shared_by_pairs([solid, *moved], pairs))


def test_a_shell_that_reaches_under_a_ball_is_bored_out_as_wide_as_the_ball():
    """Trimmed is a bar as wide as the ball and the room, draft among it, less what the inner face leaves free of it:
    pi h (R + room + h / 200)² - pi (r² h - (b³ - a³) / 3), from 0.3 mm over where that face comes under the ball.
    """
    ball = sphere(BALL, sag=0.005)
    assert shared_on_the_way(HAIR, ball, UP) > 10
    part = freed(HAIR, [ball], UP, ROOM)
    assert is_watertight(part)
    assert components(part).max() == 0
    assert shared_on_the_way(part, ball, UP) < TOUCH
    inner = BALL + 0.02
    first, last = np.sqrt(inner**2 - BALL**2) - 0.3, -DOWN_TO
    deep = last - first
    trimmed = deep * (BALL + ROOM + deep / 200) ** 2 - (inner**2 * deep - (last**3 - first**3) / 3)
    assert volume(HAIR) - volume(part) == pytest.approx(np.pi * trimmed, rel=0.015)
    # Nothing is taken off over the widest place, nor farther out than the room.
    upper = box((-20, -20, 0.1), (20, 20, 20))
    assert volume(intersection(part, upper)) == pytest.approx(volume(intersection(HAIR, upper)))
    below = (part.vertices[:, 2] < -1.0) & (part.vertices[:, 2] > DOWN_TO + 0.01)
    assert np.hypot(*part.vertices[below, :2].T).min() == pytest.approx(BALL + ROOM, abs=0.06)


def test_two_solids_overhang_together_along_any_way():
    """A knob on a ball overhangs what lies on the ball beside it; all of it turned, the trimmed part turns along."""
    turn = transform(rotation((1.0, 2.0, 0.5), 0.7))
    knob = sphere(3.0, (12.0, 0.0, 4.0), sag=0.005)
    ball = sphere(BALL, sag=0.005)
    part = difference(HAIR, knob, ball)
    upright = freed(part, [ball, knob], UP, 0.05)
    turned = freed(part.moved(turn), [ball.moved(turn), knob.moved(turn)], turn[:3, :3] @ UP, 0.05)
    assert volume(turned) == pytest.approx(volume(upright), rel=2e-4)
    assert shared_on_the_way(turned, union(ball, knob).moved(turn), turn[:3, :3] @ UP) < TOUCH
    assert volume(freed(part, [ball], UP, 0.05)) > volume(upright) + 1


def test_what_reaches_under_nothing_is_left_as_it_is():
    cap = difference(HAIR, box((-20, -20, -20), (20, 20, 2)))
    assert freed(cap, [sphere(BALL, sag=0.002)], UP, ROOM) is cap


def test_colours_go_on_over_what_is_trimmed():
    colours = np.tile(np.array([40, 80, 120], np.uint8), (len(HAIR.vertices), 1))
    part = freed(Mesh(HAIR.vertices, HAIR.triangles, colours), [sphere(BALL, sag=0.01)], UP, ROOM)
    assert (part.colours == [40, 80, 120]).all()
