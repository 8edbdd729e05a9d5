"""Sockets and made eyes on a face made from formulas: closed forms of reference_values.md, sections 1 and 8."""

import dataclasses
import re

import numpy as np
import pytest
from canthus.anatomy.sockets.eye_path import eye_bore
from canthus.geometry.distances.closest import ClosestPoint
from canthus.geometry.distances.rays import RayCaster
from canthus.geometry.errors import NotReady
from canthus.geometry.measures import components, is_watertight, volume
from canthus.geometry.solids.booleans import difference, intersection
from canthus.geometry.solids.primitives import box
from canthus.steps.eyes.carve_sockets import CarveSockets
from canthus.steps.eyes.make_eyes import MakeEyes
from canthus.steps.eyes.place_eyes import PlaceEyes
from canthus.steps.eyes.rebuild_lids import RebuildLids
from canthus.steps.workpiece import Eye, Workpiece


def sized(face, scale):
    return face.moved(np.diag([scale, scale, scale, 1.0])).but(scale=scale)


@pytest.fixture(scope="module")
def placed(small_face):
    return PlaceEyes().apply(small_face)


@pytest.fixture(scope="module")
def carved(placed):
    return CarveSockets().apply(placed)


def test_pocket_radius_within_a_hundredth(carved):
    for eye in carved.eyes:
        assert eye.pocket_radius == pytest.approx(4.0 / 2 + 0.1)
        away = carved.head.vertices - np.array(eye.centre)
        distances = np.linalg.norm(away, axis=1)
        aside = np.abs(away @ np.array(eye.gaze)) < 0.8 * eye.pocket_radius  # off the cornea's relief and the bore
        near = aside & (np.abs(distances - eye.pocket_radius) < 0.03) & (away @ np.array(eye.gaze) > 0.05)
        assert near.sum() > 1000
        on_pocket = np.abs(distances[near] - eye.pocket_radius) < 0.01
        assert on_pocket.mean() > 0.995  # the rest is skin where the rim comes close
        assert distances[away @ np.array(eye.gaze) > 0].min() > eye.pocket_radius - 0.01
    assert is_watertight(carved.head)
    assert components(carved.head).max() == 0


def test_pocket_volume_is_that_of_the_sphere():
    """In a solid block: 4/3 pi r³ for the sphere alone, the union of two spheres with the cornea's relief."""
    from canthus.anatomy.eyes.eye import EyeShape
    from canthus.anatomy.sockets.socket import Pocket, pocket_tools

    pocket = Pocket(np.zeros(3), np.array([0.0, -1.0, 0.0]), EyeShape(4.0), 0.1)
    solid = box((-5, -5, -5), (5, 5, 5))
    removed = volume(solid) - volume(difference(solid, pocket_tools(pocket)[0]))
    assert removed == pytest.approx(4 / 3 * np.pi * 2.1**3, rel=1e-3)
    whole = volume(solid) - volume(difference(solid, *pocket_tools(pocket)))
    # Spheres R 2.1 and 1.4333, centres 0.8333 apart: sum less the lens (MathWorld "Sphere-Sphere Intersection").
    big, small, apart = 2.1, 4 / 3 + 0.1, 5 / 6
    lens = np.pi * (big + small - apart) ** 2
    lens *= apart**2 + 2 * apart * (big + small) - 3 * (big - small) ** 2
    lens /= 12 * apart
    assert whole == pytest.approx(4 / 3 * np.pi * (big**3 + small**3) - lens, rel=1e-3)


def test_opening_is_clear_and_the_rim_is_no_razor(carved):
    for eye in carved.eyes:
        assert carved.figures[f"{eye.side}_rim_median_mm"] > 0.15
        inner = eye.opening - np.array(eye.centre)
        ways = 0.93 * (inner - inner.mean(axis=0)) + inner.mean(axis=0)
        ways /= np.linalg.norm(ways, axis=1, keepdims=True)
        ways = ways[ways @ np.array(eye.gaze) > np.cos(0.75)]  # farther round, the corner's wall leans forward
        assert len(ways) > 60
        # Just inside the rim nothing of the head is left, from the pocket out to 4 mm (life size) beyond it.
        away = carved.head.vertices - np.array(eye.centre)
        distances = np.linalg.norm(away, axis=1)
        near = (distances < eye.pocket_radius + 4 * carved.scale) & (distances > eye.pocket_radius + 0.005)
        cosines = (away[near] / distances[near, None]) @ ways.T
        assert cosines.max() < np.cos(0.01)


@pytest.mark.parametrize("new_lids", [False, True])
def test_the_rim_is_no_razor_in_the_corners_either(placed, new_lids):
    """Half a millimetre (life size) into the rim, all round it: square on the pocket, and along the wall where it leans
    forward, there are no less than two thirds of the rim asked for from the pocket to the skin."""
    piece = CarveSockets(rim=0.15).apply(RebuildLids().apply(placed) if new_lids else placed)
    caster = RayCaster(piece.head)
    for eye in piece.eyes:
        centre, ahead = np.array(eye.centre), np.array([0.0, -1.0, 0.0])
        ways = eye.opening - centre
        ways /= np.linalg.norm(ways, axis=1, keepdims=True)
        out = ways - ways.mean(axis=0)
        ways += 0.5 * piece.scale / eye.pocket_radius * out / np.linalg.norm(out, axis=1, keepdims=True)
        ways /= np.linalg.norm(ways, axis=1, keepdims=True)
        pocket, _ = caster.first_hit(np.broadcast_to(centre, ways.shape), ways)
        starts = centre + (pocket + 1e-4)[:, None] * ways
        round_the_globe = np.arccos(ways @ np.array(eye.gaze))
        lean = np.clip(round_the_globe - 0.6, 0.0, 1.0)[:, None] * ahead
        for toward in (ways, ways + lean):
            toward = toward / np.linalg.norm(toward, axis=1, keepdims=True)
            thick, _ = caster.first_hit(starts, toward)
            assert thick.min() > 0.1
        assert piece.figures[f"{eye.side}_least_lid_mm"] > 0.15


@pytest.mark.parametrize(("scale", "diameter"), [(1 / 6, 4), (1 / 6, 3), (1 / 4, 6), (1 / 4, 5), (1.0, 24), (1.0, 22)])
def test_eyes_of_every_size_that_fits_touch_nothing(face, scale, diameter):
    piece = PlaceEyes(diameter=diameter, hold="front").apply(sized(face, scale))
    piece = MakeEyes().apply(CarveSockets().apply(piece))
    for eye in piece.eyes:
        part = piece.parts[f"eye-{eye.side}"]
        assert is_watertight(part)
        assert volume(part) > 4 / 3 * np.pi * (diameter / 2) ** 3 * 0.99
        assert not len(intersection(piece.head, part).triangles)
        assert piece.figures[f"{eye.side}_least_gap_mm"] == pytest.approx(0.1, abs=0.02 * diameter / 4)


def test_an_eye_set_from_behind_travels_free(carved):
    made = MakeEyes().apply(carved)
    eye, part = made.eyes[0], made.parts["eye-left"]
    bore = eye_bore(eye.centre, eye.gaze, eye.pocket_radius, eye.bore_length)
    assert np.linalg.norm(bore.end - bore.start) >= 2 * eye.diameter / 2
    from canthus.geometry.solids.primitives import cylinder

    opened = difference(made.head, cylinder(bore.start, bore.start + 12 * (bore.end - bore.start), bore.radius))
    for share in np.linspace(0.0, 1.0, 6):
        step = np.eye(4)
        step[:3, 3] = (bore.end - bore.start) * share
        assert not len(intersection(opened, part.moved(step)).triangles), share


def test_made_eye_has_the_two_sphere_dimensions(carved):
    """El Hage and Le Grand 1980 scaled to the eye: limbus 11.619, cornea 2.5 high, bulge 1 on a globe of 24."""
    made = MakeEyes().apply(carved)
    for eye in made.eyes:
        away = made.parts[f"eye-{eye.side}"].vertices - np.array(eye.centre)
        ahead = away @ np.array(eye.gaze)
        off_axis = np.linalg.norm(away - ahead[:, None] * np.array(eye.gaze), axis=1)
        k = eye.diameter / 24
        assert ahead.max() == pytest.approx(13 * k, abs=0.01 * carved.scale)
        assert off_axis.max() == pytest.approx(12 * k, abs=0.01 * carved.scale)
        limbus = off_axis[np.abs(ahead - 10.5 * k) < 1e-4]
        assert 2 * limbus.max() == pytest.approx(11.619 * k, abs=0.01 * carved.scale)
    assert made.figures["limbus_diameter_mm"] == pytest.approx(11.619 / 6, abs=2e-4)


@pytest.mark.parametrize("form", ["round", "half-round"])
def test_sunk_irises_and_their_domes(carved, form):
    made = MakeEyes(form=form, iris="sunk", domes=True).apply(carved)
    for placed in made.eyes:
        eye, dome = made.parts[f"eye-{placed.side}"], made.parts[f"dome-{placed.side}"]
        assert is_watertight(eye)
        assert is_watertight(dome)
        assert not len(intersection(eye, dome).triangles)
        assert not len(intersection(made.head, dome).triangles)
        apex = (np.array(placed.centre) - dome.vertices)[:, 1].max()
        assert apex == pytest.approx(13 / 12 * 2.0, abs=0.002)


def test_fixed_eyes_are_one_with_the_head(carved):
    made = MakeEyes(form="fixed").apply(carved)
    assert not made.parts
    assert is_watertight(made.head)
    assert components(made.head).max() == 0
    assert all(eye.bore_length == 0 for eye in made.eyes)
    assert volume(made.head) > volume(carved.head) + 2 * 4 / 3 * np.pi * 2.0**3


def test_thin_lids_and_walls_are_told(placed):
    notes = CarveSockets(least_lid=0.4, least_wall=0.6).apply(RebuildLids().apply(placed)).notes
    assert any("lids are" in note for note in notes)
    # The globes' centres are 64 mm apart, 10.67 at 1/6: less two pockets of 2.1 that is 6.47.
    assert any("between the sockets is 6.47 mm" in note for note in CarveSockets(least_wall=7.0).apply(placed).notes)


def test_a_pocket_that_would_break_out_is_not_carved(placed):
    """Eyes of 10 mm where 4 fit reach 3 mm farther out than the lids: nothing is cut, and nobody can overlook it."""
    big, fits = dataclasses.replace(placed.eyes[0], diameter=10.0), placed.eyes[1]
    one = CarveSockets().apply(placed.but(eyes=(big, fits)))
    assert [eye.side for eye in one.eyes] == ["right"]
    assert [(check.value, check.ok, check.grave, check.where) for check in one.checks] == [
        (1, False, True, "the left eye")
    ]
    assert any("left eye gets no socket" in note for note in one.notes)
    assert sorted(MakeEyes().apply(one).parts) == ["eye-right"]
    skin = placed.head.vertices[np.linalg.norm(placed.head.vertices - np.array(big.centre), axis=1) < 4.0]
    assert ClosestPoint(one.head).query(skin)[0].max() < 1e-6
    none = CarveSockets().apply(placed.but(eyes=(big, dataclasses.replace(fits, diameter=10.0))))
    assert none.head is placed.head
    assert MakeEyes().apply(none).parts == placed.parts


def test_scanned_lids_are_not_cut_about_an_eye_that_may_be_elsewhere(placed):
    """Known to 4 mm only; once its lids are rebuilt, they wrap the eye wherever it is."""
    lost = dataclasses.replace(placed.eyes[0], uncertainty=4.0 * placed.scale)
    piece = placed.but(eyes=(lost, placed.eyes[1]))
    cut = CarveSockets().apply(piece)
    assert [eye.side for eye in cut.eyes] == ["right"]
    assert any("left eye gets no socket" in note and "known to 4.0 mm" in note for note in cut.notes)
    assert len(CarveSockets().apply(RebuildLids().apply(piece)).eyes) == 2


def test_out_of_order_is_refused(placed, small_face):
    with pytest.raises(NotReady, match="place-eyes"):
        CarveSockets().apply(small_face)
    with pytest.raises(NotReady, match="carve-sockets"):
        MakeEyes().apply(placed)
    bare = Workpiece(head=small_face.head, eyes=(Eye("left", (5.3, 0, 0)),))
    with pytest.raises(NotReady, match="no opening"):
        CarveSockets().apply(bare)


def test_an_eye_from_the_front_that_does_not_pass_its_lids_is_told(placed, carved):
    """The opening told is the fissure's height, found by `place-eyes` another way, a little wider round the pocket."""
    told = [note for note in CarveSockets(form="half-round", entry="front").apply(placed).notes if "soft cast" in note]
    assert [note.split()[1] for note in told] == ["left", "right"]
    for side, note in zip(("left", "right"), told, strict=True):
        opens = float(re.search(r"lids open, ([0-9.]+) mm", note)[1])
        height = placed.scale * placed.figures[f"{side}_fissure_height_mm_life"]
        assert opens == pytest.approx(height, rel=0.2)
        assert opens < 4.0
    assert not [note for note in carved.notes if "soft cast" in note]
