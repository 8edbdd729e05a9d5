"""Parts that go together one way: no overlap seated, none along the way, and a collision any other way."""

from dataclasses import replace

import numpy as np
import pytest
from canthus.geometry.distances.closest import ClosestPoint
from canthus.geometry.errors import NotPossible
from canthus.geometry.measures import components, is_watertight, volume
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.booleans import difference, intersection
from canthus.geometry.solids.primitives import box, cylinder, sphere
from canthus.geometry.solids.sections import plane, section
from canthus.geometry.solids.spigot import Spigot, parted
from canthus.geometry.transforms import rotation, transform

SHAPE = Spigot(1.6, 0.1, np.radians(2), 0.15, 1.2, 3.5, np.radians(62))
BALL = sphere(13.0, sag=0.01)
SHELL = difference(BALL, sphere(11.0, sag=0.01))  # a perfect turn round the axis: only the notch can key it
EGG = difference(BALL.moved(np.diag([1, 1.25, 1.2, 1])), sphere(11.0, sag=0.01).moved(np.diag([1, 1.27, 1.23, 1])))
CUT = plane((0.0, 0.0, 4.0), (0.0, 0.3, 1.0))


def shaggy():
    """A shell whose outside is rippled like cropped hair, half a millimetre deep."""
    way = BALL.vertices / 13.0
    ripple = 0.5 * np.sin(14 * np.arctan2(way[:, 1], way[:, 0]) + 20 * way[:, 2])
    rough = Mesh(BALL.vertices + (1.0 + ripple)[:, None] * way, BALL.triangles)
    return difference(rough, sphere(11.0, sag=0.01))


@pytest.fixture(scope="module", params=["shell", "egg", "solid", "shaggy"])
def halves(request):
    mesh = {"shell": SHELL, "egg": EGG, "solid": BALL, "shaggy": shaggy()}[request.param]
    return mesh, parted(mesh, CUT, SHAPE)


def test_both_parts_are_closed_and_nothing_is_lost_but_the_gap(halves):
    mesh, found = halves
    for part in (found.below, found.above):
        assert is_watertight(part)
        assert components(part).max() == 0
    lost = volume(mesh) - volume(found.below) - volume(found.above)
    assert 0 < lost < 0.01 * volume(mesh)


def test_they_share_no_volume_seated_and_on_the_way_out(halves):
    _mesh, found = halves
    for out in (0.0, 0.02, 0.1, 0.4, 1.0, 1.5, 3.0):
        moved = found.above.moved(transform(np.eye(3), out * CUT.up))
        assert volume(intersection(found.below, moved)) == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("turn", [6, 30, 90, 180, 270, 354])
def test_turned_any_other_way_they_collide(halves, turn):
    _mesh, found = halves
    linear = rotation(CUT.up, np.radians(turn))
    moved = found.above.moved(transform(linear, CUT.origin - linear @ CUT.origin))
    assert volume(intersection(found.below, moved)) > 0.5


def test_the_gap_is_as_wide_as_set(halves):
    """Least distance between the mating sides, within 0.01 mm."""
    _mesh, found = halves
    local = np.linalg.inv(CUT.matrix)
    below, above = found.below.moved(local), found.above.moved(local)
    radii = np.linalg.norm(below.vertices[:, :2], axis=1)
    angles = np.arctan2(below.vertices[:, 1], below.vertices[:, 0])
    heights = below.vertices[:, 2]
    outside = (heights > 0.4) & (heights < 1.2) & (np.abs(angles - SHAPE.bearing) > 0.5)
    outside &= radii > 0.93 * np.median(radii[(heights > 0.4) & (heights < 1.2)])
    distances, *_rest = ClosestPoint(above).query(below.vertices[outside])
    side = distances < 0.3
    assert side.sum() > 500
    assert np.median(distances[side]) == pytest.approx(SHAPE.clearance, abs=0.01)
    assert distances[side].min() > SHAPE.clearance - 0.01


def test_draft_and_lead_in_are_as_set():
    """On a shell that widens downwards hardly at all the side slopes by the draft, and the top is the lead narrower."""
    bar = difference(cylinder((0, 0, -9), (0, 0, 9), 13.0, 0.002), cylinder((0, 0, -8), (0, 0, 8), 10.0, 0.002))
    found, level = parted(bar, plane((0, 0, 1.0), (0, 0, 1.0)), SHAPE), plane((0, 0, 1.0), (0, 0, 1.0))

    def radius(height):
        rings = [outline for outline in section(found.below, level.raised(height)) if outline.area > 0]
        points = max(rings, key=lambda ring: ring.area).points
        away = np.linalg.norm(points, axis=1)
        return away[away > 11.0].max()

    low, high, top = radius(0.1), radius(1.3), radius(1.6 - 1e-4)
    assert low - high == pytest.approx(1.2 * np.tan(SHAPE.draft), abs=0.01)
    assert low - top == pytest.approx(1.5 * np.tan(SHAPE.draft) + SHAPE.lead, abs=0.01)


def test_the_walls_left_are_told(halves):
    _mesh, found = halves
    assert found.collar_wall > 0.5
    assert found.spigot_wall > 0.6


def test_a_spigot_is_lined_where_the_hollow_leaves_it_too_little():
    """Off the middle the shell is thin on one side: less than half of that is the spigot's, until it is lined."""
    thin = difference(BALL, sphere(11.0, (0.0, -1.1, 0.0), sag=0.01))
    bare, lined = parted(thin, CUT, SHAPE), parted(thin, CUT, replace(SHAPE, wall=0.6))
    assert bare.spigot_wall < 0.5
    assert 0.6 <= lined.spigot_wall < 0.75
    assert lined.collar_wall == pytest.approx(bare.collar_wall)
    for part in (lined.below, lined.above):
        assert is_watertight(part)
        assert components(part).max() == 0
    assert volume(lined.above) == pytest.approx(volume(bare.above), rel=0.01)  # the tab in the notch alone is thicker
    assert 0.5 < volume(lined.below) - volume(bare.below) < 20
    # Across the thin side.
    for height in (0.3, 0.8, 1.4):
        (ring,) = section(lined.below, CUT.raised(height))
        ahead = np.roll(ring.points, -1, axis=0) - ring.points
        fine = np.concatenate([ring.points + share * ahead for share in np.linspace(0, 1, 21)])
        thin = np.linalg.norm(fine[(np.abs(fine[:, 0]) < 0.05) & (fine[:, 1] < 0)], axis=1)
        assert np.ptp(thin) > 0.6
    for out in (0.0, 0.1, 0.4, 1.5, 3.0):
        moved = lined.above.moved(transform(np.eye(3), out * CUT.up))
        assert volume(intersection(lined.below, moved)) == pytest.approx(0, abs=1e-9)
    same = parted(SHELL, CUT, replace(SHAPE, wall=0.4))
    assert volume(same.below) == volume(parted(SHELL, CUT, SHAPE).below)  # thick enough: left as it is


def test_a_rim_too_thin_is_refused():
    thin = difference(BALL, sphere(12.9, sag=0.01))
    with pytest.raises(NotPossible, match="too thin for a spigot"):
        parted(thin, CUT, SHAPE)


def test_a_plane_that_does_not_go_round_is_refused():
    with pytest.raises(NotPossible, match="does not go round"):
        parted(box((0, 0, 0), (4, 4, 4)), plane((9, 9, 2), (0, 0, 1)), SHAPE)
