"""Lids rebuilt on a face made from formulas, against the bars of the eyes' issue."""

import dataclasses

import numpy as np
import pytest
from canthus.anatomy.eyes.eye import EyeShape
from canthus.geometry.distances.closest import ClosestPoint
from canthus.geometry.distances.rays import RayCaster
from canthus.geometry.errors import BadFile
from canthus.geometry.measures import euler, is_watertight, triangle_normals
from canthus.geometry.mesh import Mesh
from canthus.steps.eyes.carve_sockets import CarveSockets
from canthus.steps.eyes.make_eyes import MakeEyes
from canthus.steps.eyes.place_eyes import PlaceEyes
from canthus.steps.eyes.rebuild_lids import RebuildLids

TILT = np.arctan2(2.0, 27.1)  # of the block's fissures


@pytest.fixture(scope="module")
def placed(small_face):
    return PlaceEyes().apply(small_face)


@pytest.fixture(scope="module")
def rebuilt(placed):
    return RebuildLids().apply(placed)


def test_closed_whole_and_untouched_outside_the_blend(placed, rebuilt):
    head = rebuilt.head
    assert is_watertight(head)
    assert euler(head) == 2
    old = {vertex.tobytes() for vertex in placed.head.vertices}
    kept = np.array([vertex.tobytes() in old for vertex in head.vertices])
    first = int(np.argmin(kept))
    assert kept[:first].all()
    # Everything farther from an eye than lids and blend reach is there, bit for bit.
    left = {vertex.tobytes() for vertex in head.vertices[kept]}
    away = np.min([np.linalg.norm(placed.head.vertices - np.array(eye.centre), axis=1) for eye in placed.eyes], axis=0)
    far = placed.head.vertices[away > 32 * placed.scale]
    assert len(far) > 10000
    assert all(vertex.tobytes() in left for vertex in far)


def test_seam_normals_within_five_degrees(placed):
    """New faces beside the seam against the old surface under them, 95th percentile; off the block's own crease."""
    head = RebuildLids(blend=6.0).apply(placed).head
    old = {vertex.tobytes() for vertex in placed.head.vertices}
    kept = np.array([vertex.tobytes() in old for vertex in head.vertices])
    seam = kept[head.triangles].any(axis=1) & ~kept[head.triangles].all(axis=1)
    middles = head.corners[seam].mean(axis=1)
    _, triangle, _ = ClosestPoint(placed.head).query(middles)
    cosines = (triangle_normals(head)[seam] * triangle_normals(placed.head)[triangle]).sum(axis=1)
    turns = np.degrees(np.arccos(np.clip(cosines, -1, 1)))
    assert np.percentile(turns, 95) < 5.0


@pytest.mark.parametrize(("length", "height"), [(26.0, 8.0), (29.0, 11.0)])
def test_fissure_comes_out_as_asked_by_calipers_on_the_lids(placed, length, height):
    """Straight from corner to corner, and across the middle where a section of the lids first leaves the eye."""
    made = RebuildLids(fissure_length=length, fissure_height=height).apply(placed)
    for eye in made.eyes:
        assert made.figures[f"{eye.side}_fissure_length_mm_life"] == pytest.approx(length, abs=0.2)
        assert made.figures[f"{eye.side}_fissure_height_mm_life"] == pytest.approx(height, abs=0.2)
    carved = CarveSockets().apply(made)
    for eye in carved.eyes:
        assert gaping(carved, eye) == pytest.approx(height, abs=0.2)


def gaping(piece, eye):
    """Greatest height of the fissure as it is seen from the front, in millimetres at life size, read off the carved
    mesh: straight distance of the upper and lower lid where a line across the fissure leaves them for the pocket."""
    turn = TILT * (1 if eye.side == "left" else -1)
    across, up = np.array([np.cos(turn), 0.0, np.sin(turn)]), np.array([-np.sin(turn), 0.0, np.cos(turn)])
    caster, centre, heights = RayCaster(piece.head), np.array(eye.centre), np.arange(-1.6, 1.6, 0.004)
    tallest = 0.0
    for aside in np.arange(-0.7, 0.71, 0.1):
        starts = centre + aside * across + heights[:, None] * up + [0.0, -6.0, 0.0]
        away, _ = caster.first_hit(starts, np.tile([0.0, 1.0, 0.0], (len(starts), 1)))
        places = starts + away[:, None] * [0.0, 1.0, 0.0]
        shape, ways = EyeShape(eye.diameter), places - centre
        off = np.linalg.norm(ways, axis=1)
        ahead = ways @ np.array(eye.gaze)
        lid = (ahead > 0) & (off > shape.reach(ahead / off, 0.1) + 0.01)
        middle = len(heights) // 2
        upper = middle + int(np.argmax(lid[middle:]))
        lower = middle - int(np.argmax(lid[middle::-1]))
        tallest = max(tallest, float(np.linalg.norm(places[upper] - places[lower])))
    return tallest / piece.scale


def test_lids_clear_the_eye_by_the_clearance_along_the_whole_margin(rebuilt):
    made = MakeEyes().apply(CarveSockets().apply(rebuilt))
    for eye in made.eyes:
        assert made.figures[f"{eye.side}_least_gap_mm"] == pytest.approx(0.1, abs=0.05)
        gaps = gaps_along(eye.opening, made.head, made.parts[f"eye-{eye.side}"])
        assert gaps == pytest.approx(0.1, abs=0.05)
        lids = [made.figures[f"{eye.side}_{lid}_lid_mm"] for lid in ("upper", "lower")]
        assert made.figures[f"{eye.side}_rim_median_mm"] == pytest.approx(np.mean(lids), abs=0.05)
        assert made.figures[f"{eye.side}_least_lid_mm"] > 0.2
    assert is_watertight(made.head)


def gaps_along(opening, head, eye):
    """(k,) distance between eye and lid at every third place of a margin: the head's place nearest to the eye there."""
    _, _, at_eye = ClosestPoint(eye).query(opening[::3])
    gaps, _, _ = ClosestPoint(head).query(at_eye)
    return gaps


def test_lids_that_print_leave_the_eye_where_it_was_found(placed):
    """The block's lids are 2 mm thick at life size, 0.33 at 1/6; eye and clearance take 0.08 of it, and it prints."""
    made = RebuildLids().apply(placed)
    assert [eye.centre for eye in made.eyes] == [pytest.approx(eye.centre, abs=1e-9) for eye in placed.eyes]
    for side in ("left", "right"):
        for lid in ("upper", "lower"):
            true, left = made.figures[f"{side}_true_{lid}_lid_mm"], made.figures[f"{side}_{lid}_lid_mm"]
            assert true - left == pytest.approx((12.0 + 0.6 - 12.1) / 6, abs=1e-6)
    assert any("of their true thickness" in note for note in made.notes)


def test_lids_keep_their_true_thickness_if_asked_and_the_eye_makes_room(placed):
    """The block's lids are 2 mm thick at life size, 0.33 at 1/6: that prints, and clearance does not eat of it."""
    made = RebuildLids(thicken="true").apply(placed)
    for side, before, after in zip(("left", "right"), placed.eyes, made.eyes, strict=True):
        for lid in ("upper", "lower"):
            assert made.figures[f"{side}_true_{lid}_lid_mm"] == pytest.approx(2.0 / 6, abs=0.07)
            assert made.figures[f"{side}_{lid}_lid_mm"] == pytest.approx(made.figures[f"{side}_true_{lid}_lid_mm"])
        back = np.array(after.centre) - np.array(before.centre)
        assert -back @ np.array(before.gaze) == pytest.approx(made.figures[f"{side}_set_back_mm"], abs=1e-6)
        # 12.1 of the sitter's globe against the eye's 12 and 0.6 of clearance.
        assert made.figures[f"{side}_set_back_mm"] == pytest.approx((12.0 + 0.6 - 12.1) / 6, abs=1e-6)
    assert not any("thickened" in note for note in made.notes)


def test_lids_too_thin_to_print_are_thickened_inward_or_raised(placed):
    inward = RebuildLids(least_lid=0.45).apply(placed)
    assert inward.figures["left_upper_lid_mm"] >= 0.45 - 1e-9
    assert any("thickened inward to the 0.45" in note for note in inward.notes)
    assert inward.eyes[0].centre[1] > placed.eyes[0].centre[1] + 0.1
    assert inward.figures["left_upper_lid_mm"] + inward.figures["left_lower_lid_mm"] < 1.1  # no thicker than it must be
    raised = RebuildLids(least_lid=0.45, thicken="outward").apply(placed)
    assert raised.figures["left_upper_lid_mm"] == pytest.approx(0.45)
    assert any("raised by" in note for note in raised.notes)
    assert raised.eyes[0].centre == placed.eyes[0].centre


def test_peaks_and_tilt_come_out_as_asked(placed):
    plain, turned = RebuildLids().apply(placed), RebuildLids(canthal_tilt=3.0).apply(placed)
    for side in ("left", "right"):
        more = turned.figures[f"{side}_canthal_tilt_deg"] - plain.figures[f"{side}_canthal_tilt_deg"]
        assert more == pytest.approx(3.0, abs=0.4)
    nasal, temporal = (RebuildLids(upper_peak=peak, lower_peak=100 - peak).apply(placed) for peak in (35.0, 65.0))
    for pair in zip(nasal.eyes, temporal.eyes, strict=True):
        eye = pair[0]
        outwards = 1.0 if eye.side == "left" else -1.0
        for pick, sign in ((np.argmax, 1.0), (np.argmin, -1.0)):
            tall = [outwards * each.opening[:, 0] * -np.sin(TILT) + each.opening[:, 2] * np.cos(TILT) for each in pair]
            way = [each.opening[pick(up), 0] for each, up in zip(pair, tall, strict=True)]
            # 30 % of a fissure of 27.1 mm, at 1/6.
            assert sign * outwards * (way[1] - way[0]) == pytest.approx(0.3 * 27.1 / 6, abs=0.45)
        for size in ("length", "height"):
            name = f"{eye.side}_fissure_{size}_mm_life"
            assert nasal.figures[name] == pytest.approx(plain.figures[name], abs=0.1)


def test_margins_drawn_by_hand_are_followed(placed, tmp_path):
    """Arcs of known height drawn before the left eye come out there; the right eye stays as found."""
    steps = np.linspace(0.0, 1.0, 9)
    lines = ["side,lid,x,y,z"]
    for lid, height in (("upper", 3.2), ("lower", -4.8)):
        for share in steps:
            place = 32.0 - 13.0 + 26.0 * share, -13.0 + 5.0 * (2 * share - 1) ** 2, height * np.sin(np.pi * share)
            lines.append("left," + lid + "," + ",".join(f"{each / 6:.6f}" for each in place))
    path = tmp_path / "margins.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    plain, made = RebuildLids().apply(placed), RebuildLids(margins=str(path)).apply(placed)
    assert made.figures["left_fissure_height_mm_life"] == pytest.approx(8.0, abs=0.3)
    assert made.figures["left_fissure_length_mm_life"] == pytest.approx(26.0, abs=0.6)
    heights = 6 * made.eyes[0].opening[:, 2]
    assert [heights.max(), heights.min()] == pytest.approx([3.2, -4.8], abs=0.35)
    assert made.figures["right_fissure_height_mm_life"] == plain.figures["right_fissure_height_mm_life"]
    path.write_text("side,lid,x,y,z\nleft,upper,1,2,3\n", encoding="utf-8")
    with pytest.raises(BadFile, match="the left eye's upper margin has 1 points"):
        RebuildLids(margins=str(path)).apply(placed)
    path.write_text("side,lid,x,y,z\nleft,brow,1,2,3\n", encoding="utf-8")
    with pytest.raises(BadFile, match="line 2: 'left', 'brow'"):
        RebuildLids(margins=str(path)).apply(placed)


def test_a_torn_surface_leaves_the_lids_with_a_note(placed):
    x = placed.eyes[0].centre[0]
    only_right = placed.head.vertices[placed.head.triangles].mean(axis=1)[:, 0] < x - 1.0
    torn = Mesh(placed.head.vertices, placed.head.triangles[only_right])
    made = RebuildLids().apply(placed.but(head=torn, eyes=placed.eyes[:1]))
    assert any("stay as they were scanned" in note for note in made.notes)
    assert made.eyes[0] == placed.eyes[0]
    assert dataclasses.asdict(made.eyes[0])["diameter"] == 4.0


def test_an_eye_that_was_scanned_shut_is_opened_to_the_published_height(placed):
    """9.7 mm, adults' mean palpebral fissure height (reference_values.md, section 1), within the spread of the form."""
    marks = dict(placed.landmarks)
    for side in ("left", "right"):
        lower = marks[f"palpebrale-inferius-{side}"]
        marks[f"palpebrale-superius-{side}"] = dataclasses.replace(
            marks[f"palpebrale-superius-{side}"], position=lower.position
        )
    made = RebuildLids().apply(placed.but(landmarks=marks))
    assert sum("was scanned shut" in note for note in made.notes) == 2
    for side in ("left", "right"):
        assert made.figures[f"{side}_fissure_height_mm_life"] == pytest.approx(9.7, abs=0.2)
    carved = CarveSockets().apply(made)
    assert carved.figures["left_least_lid_mm"] > 0.2
    assert is_watertight(carved.head)
    assert not any("scanned shut" in note for note in RebuildLids().apply(placed).notes)


def test_corners_of_a_shut_eye_that_lie_too_far_apart_are_drawn_in(placed):
    """No longer than 27.1 mm, the mean of 76 young adults (Read et al. 2006)."""
    marks = dict(placed.landmarks)
    for side, sign in (("left", 1.0), ("right", -1.0)):
        marks[f"palpebrale-superius-{side}"] = marks[f"palpebrale-inferius-{side}"]
        for name, out in (("endocanthion", -4.0), ("exocanthion", 4.0)):
            x, y, z = marks[f"{name}-{side}"].position
            marks[f"{name}-{side}"] = dataclasses.replace(
                marks[f"{name}-{side}"], position=(x + sign * out * placed.scale, y, z)
            )
    made = RebuildLids().apply(placed.but(landmarks=marks))
    assert sum("corners drawn in from 35" in note for note in made.notes) == 2
    for side in ("left", "right"):
        assert made.figures[f"{side}_fissure_length_mm_life"] == pytest.approx(27.1, abs=0.2)
    assert len(CarveSockets().apply(made).eyes) == 2
