"""Pockets, seats and eyes of every stock size in a plain block, against the closed forms of solid geometry.

Cap of height h: pi h² (3 R - h) / 3; lens of two spheres (MathWorld "Sphere-Sphere Intersection"); cylinder pi R² L.
"""

from itertools import product

import numpy as np
import pytest
from canthus.anatomy.eyes.eye import STOCK_SERIES, EyeShape
from canthus.anatomy.sockets.eye_making import laid, made_eye
from canthus.anatomy.sockets.socket import Pocket, between, pocket_tools
from canthus.geometry.measures import is_watertight, volume
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.booleans import difference, intersection
from canthus.geometry.solids.primitives import box, cylinder

GAZE = np.array([0.0, -1.0, 0.0])
CENTRE = np.array([0.3, -0.2, 0.1])
GAP = 0.025  # mm, half the diametral 0.05 of a press fit
_OPEN = 0.97  # of the bore's length: where the block ends, so that no skin is left over the bore
FORMS = list(product((False, True), (None, GAP), (False, True)))  # half-round, seat, from behind


AT_LIFE = np.array(
    [31.7, -70.6, 15.9]
)  # mm: about where the left eye of a posed head lies, its origin between the ears
FITTING = [(share, size) for share in (1 / 6, 1 / 4, 1.0) for size in STOCK_SERIES if 0.8 < size / (24 * share) < 1.26]


def pocket(diameter, half=False, gap=None, behind=True, clearance=0.1, centre=CENTRE):
    made = Pocket(centre, GAZE, EyeShape(diameter), clearance, half, gap)
    return made.from_behind(made.shortest) if behind else made


def carved(place):
    """A block about the pocket, open behind at the bore's end, and the pocket cut out of it."""
    reach = 1.6 * place.widest
    x, y, z = place.centre
    block = box(place.centre - reach, (x + reach, y + (_OPEN * place.length or reach), z + reach))
    return block, difference(block, *pocket_tools(place))


def cap(radius, height):
    return np.pi * height**2 * (3 * radius - height) / 3


def bulge(place):
    """Volume of the cornea's room outside the pocket's sphere: its ball less the lens that both share."""
    big, small, apart = place.radius, place.shape.cornea + place.clearance, place.shape.cornea_ahead
    lens = np.pi * (big + small - apart) ** 2
    lens *= apart**2 + 2 * apart * (big + small) - 3 * (big - small) ** 2
    return 4 / 3 * np.pi * small**3 - lens / (12 * apart)


def closed_form(place):
    """Volume of pocket and bore, by hand."""
    radius, eye, gap = place.radius, place.shape.sclera, place.gap
    length = _OPEN * place.length
    front = 2 / 3 * np.pi * radius**3 + bulge(place)
    if place.length and gap is None:
        return front + np.pi * radius**2 * length
    if place.length:
        step = 0.3 * eye + gap if place.half else 0.6 * eye
        wide = radius + max(0.15 * eye, 0.25)
        return front + np.pi * (radius**2 * step + wide**2 * (length - step))
    if not place.half:
        ledge = 0.0
        if gap is not None:
            # A spherical sector's share of the shell between two cones: (cos a - cos b) 2 pi / 3 (R³ - r³).
            ledge = (np.cos(0.44) - np.cos(0.87)) * 2 * np.pi / 3 * (radius**3 - (eye + gap) ** 3)
        return front + 2 / 3 * np.pi * radius**3 - ledge
    floor = 0.3 * eye + (place.clearance if gap is None else gap)
    well = 0.0 if gap is None else np.pi * (0.7 * eye) ** 2 * 0.2 * eye
    return front + 2 / 3 * np.pi * radius**3 - cap(radius, radius - floor) + well


@pytest.mark.parametrize("diameter", STOCK_SERIES)
def test_pocket_is_the_cap_and_has_its_volume_at_every_stock_size(diameter):
    # All forms at the sizes most used at 1/6, 1/4 and life size, and two of them in turn at each of the others.
    turn = STOCK_SERIES.index(diameter) % 4
    for half, gap, behind in FORMS if diameter in (4.0, 6.0, 24.0) else FORMS[turn::4]:
        is_the_cap(pocket(diameter, half, gap, behind))


@pytest.mark.parametrize(("share", "diameter"), FITTING)
def test_pocket_is_the_cap_where_heads_have_their_eyes_at_every_scale(share, diameter):
    """At 1/6, 1/4 and 1/1 all stock eyes that are no more than a fifth smaller or a quarter larger than a globe."""
    for half, gap, behind in ((False, None, True), (True, GAP, False)):
        is_the_cap(pocket(diameter, half, gap, behind, centre=AT_LIFE * share))


def is_the_cap(place):
    block, cut = carved(place)
    assert is_watertight(cut)
    told = (place.shape.diameter, place.half, place.gap, place.length)
    assert volume(block) - volume(cut) == pytest.approx(closed_form(place), rel=1e-3), told
    # In front of the centre, off the cornea's room, every vertex and every face's middle lies on the sphere.
    ways = np.concatenate([cut.vertices, cut.corners.mean(axis=1)]) - place.centre
    off, ahead = np.linalg.norm(ways, axis=1), ways @ GAZE
    on = (off < 1.2 * place.radius) & (ahead > 0.01) & (ahead < 0.75 * off)
    assert on.sum() > 500
    assert np.abs(off[on] - place.radius).max() < 0.01, told


@pytest.mark.parametrize("diameter", [2.0, 4.0, 24.0])
def test_the_eye_and_its_ring_overlap_nothing_and_travel_in_free(diameter):
    for half, gap, behind in FORMS:
        place = pocket(diameter, half, gap, behind)
        _, cut = carved(place)
        eye = laid(made_eye(place.shape, half=half, stem=behind and not half, sunk_iris=False, marks=1), CENTRE, GAZE)
        assert is_watertight(eye)
        assert not len(intersection(cut, eye).triangles), (half, gap, behind)
        if not behind:
            continue
        ring = laid(place.seat.ring(), CENTRE, GAZE) if gap is not None else None
        for share in (0.0, 0.2, 0.7):
            step = np.eye(4)
            step[:3, 3] = -GAZE * place.length * share
            assert not len(intersection(cut, eye.moved(step)).triangles), (half, gap, share)
            if ring is not None:
                assert volume(intersection(cut, ring.moved(step))) < 1e-4 * volume(ring)
        if ring is not None:
            assert is_watertight(ring)
            assert not len(intersection(ring, eye).triangles)


@pytest.mark.parametrize("half", [False, True])
def test_a_ring_holds_the_eye_at_its_depth(half):
    """Pushed back by no more than the fit's gap the eye meets the ring, pushed on by as much the ring its step."""
    place = pocket(4.0, half, GAP)
    _, cut = carved(place)
    ring = laid(place.seat.ring(), CENTRE, GAZE)
    eye = laid(made_eye(place.shape, half=half, stem=not half, sunk_iris=False, marks=0), CENTRE, GAZE)
    back, on = np.eye(4), np.eye(4)
    back[:3, 3], on[:3, 3] = -GAZE * (GAP + 0.02), GAZE * 0.02
    assert volume(intersection(ring, eye.moved(back))) > 0
    assert volume(intersection(cut, ring.moved(on))) > 0.001
    assert not len(intersection(ring, cylinder(CENTRE, CENTRE - GAZE * 9, 0.3 * 2.0)).triangles)  # the stem's way


@pytest.mark.parametrize("half", [False, True])
def test_a_ledge_holds_the_eye_at_its_depth(half):
    place = pocket(4.0, half, GAP, behind=False)
    _, cut = carved(place)
    eye = laid(made_eye(place.shape, half=half, stem=False, sunk_iris=False, marks=0), CENTRE, GAZE)
    back = np.eye(4)
    back[:3, 3] = -GAZE * (GAP + 0.02)
    assert volume(intersection(cut, eye.moved(back))) > 0.0005


def test_bores_of_eyes_that_squint_outwards_thin_the_wall_between():
    """Two axes 20 degrees apart behind: the bores come as near as trigonometry says."""
    turn = np.radians(10.0)
    pair = []
    for sign in (1.0, -1.0):
        gaze = np.array([sign * np.sin(turn), -np.cos(turn), 0.0])
        made = Pocket(np.array([sign * 5.0, 0.0, 0.0]), gaze, EyeShape(4.0), 0.1)
        pair.append(made.from_behind(8.0))
    assert between(*pair) == pytest.approx(2 * (5.0 - 8.0 * np.sin(turn)) - 4.2, abs=1e-6)
    parallel = [Pocket(p.centre, GAZE, p.shape, 0.1).from_behind(8.0) for p in pair]
    assert between(*parallel) == pytest.approx(10.0 - 4.2, abs=1e-6)


def test_the_marks_on_the_back_lie_on_the_axis_and_tell_the_sides_apart():
    """Centre mark and one groove left, two right: sections across the back, by the volume that is missing."""
    for half, stem in product((False, True), (False, True)):
        left, right = (made_eye(EyeShape(4.0), half=half, stem=stem, sunk_iris=False, marks=k) for k in (1, 2))
        plain = made_eye(EyeShape(4.0), half=half, stem=stem, sunk_iris=False, marks=0)
        assert volume(plain) > volume(left) > volume(right)
        end = plain.vertices[:, 2].min()
        tip = left.vertices[np.hypot(*left.vertices.T[:2]) < 1e-6]
        assert tip[:, 2].min() > end + 0.1, "the centre mark leaves nothing of the back on the axis"
        assert plain.vertices[:, 2].min() == pytest.approx(-4.0 if stem else -0.6 if half else -2.0, abs=0.06)


def test_shifted_blocks_keep_their_volume():
    """The helper above cuts what it says it cuts: a block without a pocket has all of its volume."""
    place = pocket(4.0)
    block, _ = carved(place)
    assert volume(block) == pytest.approx(float(np.prod(np.ptp(block.vertices, axis=0))))
    assert isinstance(block, Mesh)
