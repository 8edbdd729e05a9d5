"""Pegs, cups, bores and collars: every diameter within 0.01 mm of what was set (issue 5)."""

import numpy as np
import pytest
from canthus.geometry.errors import NotPossible
from canthus.geometry.measures import is_watertight, volume
from canthus.geometry.solids.booleans import difference, intersection, union
from canthus.geometry.solids.collar import brought_to_circle
from canthus.geometry.solids.joints import BallCup, Peg, magnet_bore
from canthus.geometry.solids.primitives import box, sphere
from canthus.geometry.solids.sections import plane, section
from canthus.geometry.transforms import transform

FACE = plane((0, 0, 0), (0, 0, 1))
BODY = box((-12, -12, 0), (12, 12, 20))


def radii(mesh, height):
    """Distances from the axis of the outline at a height."""
    (outline,) = section(mesh, FACE.raised(height))
    return np.linalg.norm(outline.points, axis=1)


def shifted(mesh, x=0.0, y=0.0, z=0.0):
    return mesh.moved(transform(np.eye(3), (x, y, z)))


@pytest.mark.parametrize("diameter", [3.0, 6.0, 8.0, 20.0])
def test_a_peg_is_as_thick_and_long_as_set(diameter):
    head = union(BODY, Peg(diameter, 10.0, chamfer=0.5).solid(2.0))
    assert is_watertight(head)
    assert 2 * radii(head, -5.0).max() == pytest.approx(diameter, abs=0.01)
    assert 2 * radii(head, -5.0).min() == pytest.approx(diameter, abs=0.01)
    assert head.vertices[:, 2].min() == pytest.approx(-10.0, abs=1e-5)
    assert volume(head) - volume(BODY) == pytest.approx(
        np.pi * diameter**2 / 4 * 10 - np.pi * 0.25 * (diameter / 2 - 0.5 / 3), rel=2e-3
    )  # less the chamfer: by Pappus, half a square of side c swept round at R - c/3


def test_peg_and_frustum_volumes():
    """Cylinder r 3 h 8: 226.1947; frustum 4 to 3, h 8: 309.9705 (reference_values section 8)."""
    assert volume(Peg(6.0, 8.0).solid(1.0)) - 9 * np.pi == pytest.approx(226.1947, rel=1e-3)
    tapered = Peg(8.0, 8.0, taper=np.arctan(1 / 8))
    assert tapered.tip == pytest.approx(6.0)
    assert volume(tapered.solid(1.0)) - 16 * np.pi == pytest.approx(309.9705, rel=1e-3)


def test_a_flat_is_as_deep_as_set_and_stops_turning():
    peg = Peg(8.0, 10.0, flat=1.5)
    outline = section(peg.solid(2.0), FACE.raised(-5.0))[0]
    assert outline.points[:, 1].max() == pytest.approx(4.0 - 1.5, abs=1e-6)
    bored = difference(shifted(BODY, z=-20), peg.bore(0.18, 0.2))
    turned = peg.solid(0.5)
    turned = turned.moved(np.diag([-1.0, -1.0, 1.0, 1.0]))  # half a turn
    assert volume(intersection(bored, peg.solid(0.5))) == pytest.approx(0, abs=1e-6)
    assert volume(intersection(bored, turned)) > 1.0


def test_a_peg_goes_into_its_bore_without_touching():
    peg = Peg(6.0, 8.0, np.radians(1.0), 0.5)
    bored = difference(shifted(BODY, z=-20), peg.bore(0.18, 0.2))
    for out in np.linspace(0, 9, 10):
        assert volume(intersection(bored, shifted(peg.solid(0.5), z=out))) == pytest.approx(0, abs=1e-6)
    assert volume(intersection(bored, shifted(peg.solid(0.5), x=0.3))) > 0.1


def test_what_is_left_of_a_peg_must_be_a_peg():
    for peg in (Peg(6.0, 20.0, np.radians(10)), Peg(6.0, 8.0, chamfer=3.0), Peg(6.0, 8.0, flat=5.0)):
        with pytest.raises(NotPossible, match="used up by its taper, chamfer or flat"):
            peg.solid(1.0)


@pytest.mark.parametrize("lead", [0.0, 0.3])
def test_a_magnets_bore_is_as_wide_and_deep_as_set(lead):
    head = difference(BODY, magnet_bore(5.0, 2.0, lead))
    assert is_watertight(head)
    outer, hole = section(head, FACE.raised(1.0))
    assert outer.area == pytest.approx(576)
    assert 2 * np.linalg.norm(hole.points, axis=1).max() == pytest.approx(5.0, abs=0.01)
    assert 2 * np.linalg.norm(hole.points, axis=1).min() == pytest.approx(5.0, abs=0.01)
    assert len(section(head, FACE.raised(1.99))) == 2
    assert len(section(head, FACE.raised(2.01))) == 1


@pytest.mark.parametrize("ball", [5.0, 8.0, 12.0])
@pytest.mark.parametrize("slots", [0, 4, 6])
def test_a_cup_holds_its_ball(ball, slots):
    cup = BallCup(ball, 0.0, 0.94 * ball, 0.6, slots, 0.8, 0.3)
    head = difference(BODY, cup.tool())
    assert is_watertight(head)
    inner = np.linalg.norm(head.vertices - (0, 0, cup.height), axis=1)
    near = (inner < ball / 2 + 0.05) & (head.vertices[:, 2] > cup.lead + 0.05)
    assert 2 * inner[near].min() == pytest.approx(ball, abs=0.01)
    at_lip = section(head, FACE.raised(cup.lead + 1e-4))
    mouth = min(float(np.linalg.norm(outline.points, axis=1).min()) for outline in at_lip)
    assert 2 * mouth == pytest.approx(cup.opening, abs=0.01)
    assert cup.deflection == pytest.approx(0.03 * ball)
    # The ball sits without touching, and cannot be drawn out without pushing the lip aside.
    seated = shifted(sphere(ball / 2 - 0.003, sag=0.001), z=cup.height)
    assert volume(intersection(head, seated)) == pytest.approx(0, abs=1e-3)
    assert volume(intersection(head, shifted(seated, z=cup.lead - cup.height))) > 0.01


def test_the_lips_strain_is_that_of_a_cantilever():
    """3 t y / (2 L²), worked by hand for t 0.6, y 0.24, L from lip to root along the wall's middle."""
    cup = BallCup(8.0, 0.0, 7.52, 0.6, 4, 0.8, 0.4)
    length = np.sqrt(16 - 3.76**2) + 4.3 * np.arcsin(0.6)
    assert cup.strain == pytest.approx(1.5 * 0.6 * 0.24 / length**2)
    whole = BallCup(8.0, 0.0, 7.52, 0.6, 0, 0.8, 0.4)
    assert whole.strain == pytest.approx(0.24 / 3.76)


def test_a_cup_needs_an_opening_under_its_ball():
    with pytest.raises(NotPossible, match="opening must be under its ball's 8 mm"):
        BallCup(8.0, 0.0, 8.0, 0.6, 4, 0.8, 0.4).tool()


@pytest.mark.parametrize("radius", [7.0, 10.5])
def test_a_collar_is_a_circle_and_fades_out(radius):
    # An egg-shaped bar of many vertices on end, cut flat.
    bar = sphere(9.0, sag=0.02).moved(np.diag([1.0, 1.25, 3.0, 1.0]))
    from canthus.geometry.solids.trimming import largest_above

    head = largest_above(bar, FACE)
    collared = brought_to_circle(head, FACE, radius, 8.0)
    assert is_watertight(collared)
    at_face = np.abs(collared.vertices[:, 2]) < 1e-6
    np.testing.assert_allclose(np.linalg.norm(collared.vertices[at_face, :2], axis=1), radius, atol=0.001)
    above = collared.vertices[:, 2] > 8.0
    np.testing.assert_array_equal(collared.vertices[above], head.vertices[above])
