"""What a part covers gives way under it: nothing seen is cut, the wall is kept, only what is left is trimmed."""

import numpy as np
import pytest
from canthus.geometry.distances.closest import ClosestPoint
from canthus.geometry.lifting.coats import coat
from canthus.geometry.lifting.freeing import Giving, cut_free, set_free
from canthus.geometry.lifting.passages import passage
from canthus.geometry.measures import components, is_watertight, volume
from canthus.geometry.solids.booleans import difference, intersection, shared_by_pairs, union
from canthus.geometry.solids.primitives import box, sphere
from canthus.geometry.transforms import transform

UP = np.array([0.0, 0.0, 1.0])
BALL, ROOM, WALL = 4.0, 0.1, 0.4
GIVING = Giving(ROOM, WALL)
TOUCH = 1e-4  # cubic millimetres


def cap(thick, down_to):
    """A shell 0.05 mm off the ball, down to a height; under the ball's middle it reaches under it."""
    return difference(
        sphere(BALL + 0.05 + thick, sag=0.004), sphere(BALL + 0.05, sag=0.004), box((-9, -9, -9), (9, 9, down_to))
    )


def shared_on_the_way(part, solid):
    moved = [part.moved(transform(np.eye(3), out * UP)) for out in (0.0, 0.05, 0.3, 1.0, 3.0, 8.0)]
    return max(shared for shared, _ in shared_by_pairs([solid, *moved], [(0, row + 1) for row in range(len(moved))]))


@pytest.fixture(scope="module")
def ball():
    return sphere(BALL, sag=0.004)


def test_a_coat_is_nowhere_thinner_than_asked():
    """About a ball's skin it is a shell: told by its volume and by how far its faces lie off the skin."""
    found = coat(sphere(2.0, sag=0.002), 0.4)
    assert is_watertight(found)
    far = np.abs(np.linalg.norm(found.vertices, axis=1) - 2.0)
    assert far.min() >= 0.4
    assert far.max() < 0.48 + 0.01
    assert volume(found) > 4 / 3 * np.pi * (2.4**3 - 1.6**3)


def test_the_room_a_bar_takes_up_is_a_bar():
    """A bar under a block passes through it as wide as it is, and the room: (2 + 2 room)² over the block's height."""
    bar, block = box((-1, -1, -3), (1, 1, -1)), box((-4, -4, 0), (4, 4, 2))
    found = intersection(passage(bar, [block], UP, 0.2), block)
    wide = 2 + 2 * (0.2 + 0.01 * 2)  # a hundredth of its height on top, as what is trimmed widens
    assert volume(found) == pytest.approx(2 * wide**2, rel=0.02)  # it widens by 0.002 of the way, corners are rounded


def test_thin_hair_comes_off_whole_out_of_a_solid_ball(ball):
    part = cap(0.3, -1.5)
    free = set_free(part, [ball], UP, GIVING)
    assert free.trimmed < 0.02  # the ledge at its lower edge
    assert free.lost < 0.1
    (left,) = free.relief.solids
    assert is_watertight(left)
    assert components(left).max() == 0
    assert shared_on_the_way(part, ball) > 1
    assert shared_on_the_way(free.part, left) < TOUCH
    assert free.relief.taken == pytest.approx(volume(ball) - volume(left))
    # As deep as it has to be: a straight side as wide as the hair's lowest edge lets it, at the ball's middle.
    lowest = np.sqrt((BALL + 0.05) ** 2 - 1.5**2)
    assert free.relief.deepest == pytest.approx(BALL - (lowest - ROOM), abs=0.06)
    # Nothing that is seen was cut: below the hair, and a ledge over its edge.
    below = ball.vertices[ball.vertices[:, 2] < -1.45]
    assert ClosestPoint(left).query(below)[0].max() < 1e-4


def test_a_hollow_keeps_its_wall_and_the_rest_is_trimmed(ball):
    inner = BALL - 0.7
    shell = difference(ball, sphere(inner, sag=0.002))
    part = cap(0.3, -2.2)
    free = set_free(part, [shell], UP, GIVING)
    (left,) = free.relief.solids
    radii = np.linalg.norm(left.vertices, axis=1)
    assert radii[radii > inner + 0.01].min() >= inner + WALL - 0.002
    assert free.relief.wall >= WALL - 0.002
    assert free.relief.deepest > 0.15
    assert free.trimmed > 0.01  # the ball's 0.3 mm that may go are not all it needs
    assert shared_on_the_way(free.part, left) < TOUCH
    solid = set_free(part, [shell], UP, Giving(ROOM, WALL, relieved=False))
    assert solid.relief.solids[0] is shell
    assert solid.trimmed > 1.5 * free.trimmed


def test_thick_hair_is_trimmed_inside_first(ball):
    """Of hair 1.5 mm thick the outer wall alone has to stay, and the ball hardly gives way."""
    free = set_free(cap(1.5, -2.2), [ball], UP, GIVING)
    assert free.trimmed > 0.01
    assert free.lost < 0.05
    assert free.relief.taken < 0.5
    assert free.thin == pytest.approx(0.0, abs=1.0)


def test_an_ear_beside_the_hair_is_not_cut(ball):
    """What stands in the way unhidden stays; the hair gives way to it."""
    ear = sphere(0.8, (BALL + 0.5, 0.0, 0.0), sag=0.004)
    head = union(ball, ear)
    part = cut_free(difference(cap(0.3, -1.5), box((2, -1.2, -0.9), (9, 1.2, 0.9))), [head], UP)
    free = set_free(part, [head], UP, GIVING)
    (left,) = free.relief.solids
    bare = ear.vertices[np.linalg.norm(ear.vertices, axis=1) > BALL + 0.4]
    assert ClosestPoint(left).query(bare)[0].max() < 1e-4
    assert free.lost > 0.5  # the lock under the ear
    assert shared_on_the_way(free.part, left) < TOUCH


def test_nothing_is_taken_out_for_a_lock_that_goes_whole(ball):
    """A cavity under the cap's edge leaves too little wall for it to pass, so its lower edge is trimmed off."""
    hollow = difference(ball, sphere(BALL - 0.5, sag=0.004))
    part = cap(0.3, -3.2)
    free = set_free(part, [hollow], UP, GIVING)
    assert free.lost > 1.0
    (left,) = free.relief.solids
    bare = hollow.vertices[np.linalg.norm(hollow.vertices, axis=1) > BALL - 0.1]
    bare = bare[ClosestPoint(free.part).query(bare)[0] > 0.5]  # what is left of the part lies 0.05 mm off
    assert (bare[:, 2] > -3.0).any()  # under the lock that went, too
    assert ClosestPoint(left).query(bare)[0].max() < 0.01
    assert shared_on_the_way(free.part, left) < TOUCH
