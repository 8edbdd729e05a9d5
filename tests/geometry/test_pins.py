"""Parts keyed by pins: no overlap seated, none on the way out, a collision any other way; sizes as set."""

import numpy as np
import pytest
from canthus.geometry.errors import NotPossible
from canthus.geometry.lifting.freeing import cut_free
from canthus.geometry.measures import components, is_watertight, volume
from canthus.geometry.solids.booleans import difference, intersection
from canthus.geometry.solids.pinned_on import pinned_on
from canthus.geometry.solids.pins import Pins, other_ways, pinned
from canthus.geometry.solids.primitives import box, sphere
from canthus.geometry.solids.seams import flat_seam, seam_through
from canthus.geometry.solids.sections import plane, section
from canthus.geometry.transforms import rotation, transform

PINS = Pins(3, 1.5, 1.6, 0.1, np.radians(1), 0.15, 0.3, np.radians(62))
BALL = sphere(13.0, sag=0.01)
SHELL = difference(BALL, sphere(11.0, sag=0.01))  # a perfect turn round the axis: only the pins can key it
CUT = plane((0.0, 0.0, 2.0), (0.0, 0.3, 1.0))


def wavy(count=16, depth=1.5):
    """A curve round the ball that rises and falls twice, as a hairline does."""
    turns = 2 * np.pi * np.arange(count) / count
    heights = 2.0 + depth * np.sin(2 * turns)
    return np.column_stack([np.sqrt(169 - heights**2) * [np.cos(turns), np.sin(turns)]]).T, heights


def curve():
    return np.column_stack(wavy())


@pytest.fixture(scope="module", params=["shell", "solid", "curve"])
def halves(request):
    mesh = BALL if request.param == "solid" else SHELL
    seam = seam_through(curve()) if request.param == "curve" else flat_seam(CUT)
    return mesh, seam, pinned(mesh, seam, PINS)


def lifted(mesh, up, out):
    return mesh.moved(transform(np.eye(3), out * up))


def test_both_parts_are_closed_and_nothing_is_lost_but_the_gaps(halves):
    mesh, _, found = halves
    for part in (found.below, found.above):
        assert is_watertight(part)
        assert components(part).max() == 0
    lost = volume(mesh) - volume(found.below) - volume(found.above)
    assert abs(lost) < 0.01 * volume(mesh)
    skin = np.linalg.norm(np.concatenate([found.below.vertices, found.above.vertices]), axis=1)
    assert skin.max() < 13.0 + 1e-6  # thickened inwards where the wall is too thin, never outwards


def test_they_share_no_volume_seated_and_on_the_way_out(halves):
    _, seam, found = halves
    for out in (0.0, 0.02, 0.2, 0.8, 1.5, 3.0):
        shared = intersection(found.below, lifted(found.above, seam.frame.up, out))
        assert volume(shared) == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("turn", [8, 60, 107, 120, 133, 180, 240])
def test_turned_any_other_way_they_collide(halves, turn):
    _, seam, found = halves
    linear = rotation(seam.frame.up, np.radians(turn))
    moved = found.above.moved(transform(linear, seam.frame.origin - linear @ seam.frame.origin))
    assert volume(intersection(found.below, moved)) > 0.5


def test_pins_and_holes_are_as_wide_as_set(halves):
    """Diameters and clearance within 0.01 mm, the draft taken off, half-way up (issue 5)."""
    _, seam, found = halves
    assert len(found.feet) == 3
    for foot in found.feet:
        level = plane(foot + 0.8 * seam.frame.up, seam.frame.up)
        (pin,) = [line for line in section(found.below, level) if np.abs(line.centroid).max() < 0.05]
        (hole,) = [line for line in section(found.above, level) if np.abs(line.centroid).max() < 0.05]
        tapered = PINS.diameter - 2 * 0.8 * np.tan(np.radians(1))
        assert 2 * np.linalg.norm(pin.points, axis=1).max() == pytest.approx(tapered, abs=0.01)
        assert 2 * np.linalg.norm(hole.points, axis=1).min() == pytest.approx(tapered + 0.2, abs=0.01)
        away = found.below.vertices - foot
        rise = away @ seam.frame.up
        beside = np.linalg.norm(away - rise[:, None] * seam.frame.up, axis=1)
        assert rise[beside < 0.8].max() == pytest.approx(1.6, abs=0.001)


def width_at(mesh, foot, up, height, take):
    """Diameter of the ring about a pin's axis at a height over its foot."""
    (ring,) = [
        line
        for line in section(mesh, plane(foot + height * up, up))
        if np.abs(line.centroid).max() < 0.05 and line.span < 4
    ]
    return 2 * take(np.linalg.norm(ring.points, axis=1))


def test_draft_and_lead_in_are_as_set(halves):
    """Within 0.01 mm: the pin narrows by its draft and, at the tip, by the lead; the hole's mouth widens at 45 degrees
    from as far in as the lead.
    """
    _, seam, found = halves
    up, slope = seam.frame.up, 2 * np.tan(PINS.draft)
    for foot in found.feet:
        low, high, tip = (width_at(found.below, foot, up, height, np.max) for height in (0.6, 1.3, 1.5999))
        assert (low - high) == pytest.approx(0.7 * slope, abs=0.01)
        assert tip == pytest.approx(PINS.diameter - 1.6 * slope - 2 * PINS.lead, abs=0.01)
        if seam.flat:  # elsewhere the mouth's ring is cut by the seam
            mouth, inside = (width_at(found.above, foot, up, height, np.min) for height in (0.05, 0.3))
            wide = PINS.diameter + 2 * PINS.clearance
            assert mouth == pytest.approx(wide + 2 * (PINS.lead - 0.05), abs=0.01)
            assert inside == pytest.approx(wide - 0.3 * slope, abs=0.01)


def test_the_curve_is_where_it_was_drawn():
    seam = seam_through(curve())
    np.testing.assert_allclose(seam.heights(curve()), 0, atol=0.02)
    assert seam.frame.up[2] == pytest.approx(1)
    found = pinned(SHELL, seam, PINS)
    skin = np.linalg.norm(found.below.vertices, axis=1) > 12.98
    rim = np.abs(seam.heights(found.below.vertices)) < 1e-6
    assert (rim & skin).sum() > 500


def test_a_way_that_fits_besides_is_noticed():
    """Three pins at even gaps go in three ways, uneven ones in one: rotations of a triangle."""
    turns = np.radians([0, 120, 240])
    even = np.column_stack([np.cos(turns), np.sin(turns)]) * 10
    assert other_ways(even, 0.2) == 2
    assert other_ways(even + np.array([[0, 0], [0, 0], [1.5, 0]]), 0.2) == 0
    square = np.array([[1, 1], [-1, 1], [-1, -1], [1, -1.0]]) * 5
    assert other_ways(square, 0.2) == 3


def test_what_cannot_be_pinned_is_said():
    with pytest.raises(NotPossible, match=r"room for pins of .* not of 20 mm"):
        pinned(SHELL, flat_seam(CUT), Pins(3, 20.0, 1.6, 0.1, 0.0, 0.1, 0.3, 0.0))
    with pytest.raises(NotPossible, match="misses"):
        pinned(SHELL, flat_seam(plane((0, 0, 40), (0, 0, 1))), PINS)
    with pytest.raises(NotPossible, match="four points at least"):
        seam_through(curve()[:3])
    with pytest.raises(NotPossible, match="folds back"):
        seam_through(curve()[[0, 2, 1, 3, 5, 4, 6, 8, 10, 12]])
    with pytest.raises(NotPossible, match="gap of"):
        seam_through(curve()[[0, 2, 4, 11, 13]])
    with pytest.raises(NotPossible, match="in a line"):
        seam_through(np.arange(15.0).reshape(5, 3))


@pytest.fixture(scope="module")
def wig():
    """A cap of hair 2 mm thick on the shell, reaching a little into it, as a fitted part does."""
    hair = difference(sphere(15.0, sag=0.02), sphere(12.9, sag=0.02), box((-20, -20, -20), (20, 20, 5)))
    up = np.array([0.0, 0.0, 1.0])
    return pinned_on(SHELL, cut_free(hair, [SHELL], up), up, Pins(3, 1.2, 1.2, 0.1, 0.0, 0.1, 0.4, np.radians(62)))[1]


def test_hair_is_keyed_the_same_way(wig):
    up = np.array([0.0, 0.0, 1.0])
    assert is_watertight(wig.below)
    assert is_watertight(wig.above)
    assert components(wig.above).max() == 0
    for out in (0.0, 0.02, 0.5, 1.5):
        assert volume(intersection(wig.below, lifted(wig.above, up, out))) == pytest.approx(0, abs=1e-9)
    for turn in (8, 107, 180, 240):
        assert volume(intersection(wig.below, wig.above.moved(transform(rotation(up, np.radians(turn)))))) > 0.5
    np.testing.assert_allclose(np.linalg.norm(wig.feet, axis=1), 13.0, atol=0.1)  # pins begin where hair meets skin


def test_hair_too_thin_or_away_from_the_head_is_refused():
    thin = difference(sphere(13.3, sag=0.02), sphere(12.9, sag=0.02), box((-20, -20, -20), (20, 20, 5)))
    with pytest.raises(NotPossible, match="does not lie on anything thick enough"):
        pinned_on(SHELL, cut_free(thin, [SHELL], np.array([0.0, 0.0, 1.0])), np.array([0.0, 0.0, 1.0]), PINS)
    with pytest.raises(NotPossible, match="nothing of the part lies outside"):
        cut_free(sphere(3.0, sag=0.05), [BALL], np.array([0.0, 0.0, 1.0]))
