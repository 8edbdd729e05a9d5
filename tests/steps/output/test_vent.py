"""Vents open every hollow where resin would stay, and plugs fit them."""

import numpy as np
import pytest
from canthus.geometry.errors import NotPossible
from canthus.geometry.measures import genus, is_watertight, volume
from canthus.geometry.printing.cavities import closed_cavities, hollowed
from canthus.geometry.printing.print_layers import layers_of, suction_cups
from canthus.geometry.solids.booleans import difference, intersection, split, union
from canthus.geometry.solids.primitives import box, cylinder, sphere
from canthus.geometry.solids.sections import plane, section
from canthus.geometry.transforms import transform
from canthus.job.run import run
from canthus.steps.output.fits import FITS
from canthus.steps.output.hollow import Hollow
from canthus.steps.output.neck import Neck
from canthus.steps.output.vent import Vent
from canthus.steps.workpiece import Done, Workpiece
from demo_heads import demo_surface
from scipy.ndimage import label

ABOVE = ((-20, -20, 5), (20, 20, 20))


def hollow_ball():
    return hollowed(sphere(16, sag=0.02), sphere(14, sag=0.02))


def test_a_hollow_ball_is_opened_below_and_above():
    done = Vent().apply(Workpiece(head=hollow_ball()))
    assert closed_cavities(done.head) == []
    assert is_watertight(done.head)
    assert genus(done.head) == 1  # a ball with two holes through its wall
    low, high = done.figures["holes"]
    np.testing.assert_allclose(low["at_mm"], [0, 0, -16], atol=0.1)
    assert high["at_mm"][2] > 12
    assert high["at_mm"][1] > 5  # behind the crown, out of sight from the face
    assert low["length_mm"] == pytest.approx(2, abs=0.05)


def test_the_holes_have_the_diameter_asked_for():
    ball = hollow_ball()
    done = Vent(diameter=3.0).apply(Workpiece(head=ball))
    # A hole of radius a through a shell takes away what the bored spheres lose on one side:
    # half of 4/3 pi (R³ - (R² - a²)^1.5) for each sphere (reference values, section 8).
    one = sum(sign * 2 / 3 * np.pi * (r**3 - (r * r - 2.25) ** 1.5) for sign, r in ((1, 16), (-1, 14)))
    assert volume(ball) - volume(done.head) == pytest.approx(2 * one, rel=0.02)


def test_up_may_be_any_way():
    done = Vent(up=(0, 1, 0)).apply(Workpiece(head=hollow_ball()))
    np.testing.assert_allclose(done.figures["holes"][0]["at_mm"], [0, -16, 0], atol=0.1)
    assert closed_cavities(done.head) == []


def widths(mesh, hole, depths):
    """Diameters of the ring of a mesh that lies nearest about a hole's axis, at depths below the skin."""
    at, way = np.array(hole["at_mm"]), np.array(hole["way"])
    found = []
    for depth in depths:
        cut = plane(at - depth * way, way)
        rings = [outline.points - cut.flat(at[None]) for outline in section(mesh, cut)]
        found.append(2 * min(np.linalg.norm(ring, axis=1).max() for ring in rings))
    return found


@pytest.mark.parametrize("fit", ["press", "slip", "loose"])
@pytest.mark.parametrize("kind", ["straight", "taper", "lip"])
def test_plugs_fill_the_holes_flush_with_the_fit_asked_for(kind, fit):
    """Diameters and clearances are measured on the meshes, 0.2 and 1.2 mm under the skin, in a wall of 2 mm."""
    ball = hollow_ball()
    done = Vent(plugs=kind, plug_fit=fit, up=(0.2, 1, 3)).apply(Workpiece(head=ball))
    assert sorted(done.parts) == ["plug-1", "plug-2"] == [each["plug"] for each in done.figures["plugs"]]
    for each in done.figures["plugs"]:
        plug = done.parts[each["plug"]]
        assert is_watertight(plug)
        assert volume(intersection(plug, done.head)) == pytest.approx(0, abs=1e-9)
        radii = np.linalg.norm(plug.vertices, axis=1)
        assert radii.max() == pytest.approx(16, abs=0.03)  # flush with the skin
        assert radii.min() > 13.8  # and not far into the hollow
        assert volume(done.head) + volume(plug) < volume(ball)
        # Straight out of its hole nothing stops it.
        for out in (0.3, 1.0, 2.5):
            moved = plug.moved(transform(np.eye(3), out * np.array(each["way"])))
            assert volume(intersection(moved, done.head)) == pytest.approx(0, abs=1e-9)
        holes, plugs = (widths(mesh, each, (0.2, 1.2)) for mesh in (done.head, plug))
        length, slope = each["length_mm"], 2 * np.tan(np.radians(4.0))
        wanted = {
            "straight": [2.0, 2.0],
            "taper": [2.0 + slope * (length - 0.2), 2.0 + slope * (length - 1.2)],
            "lip": [3.0, 2.0],
        }[kind]
        np.testing.assert_allclose(holes, wanted, atol=0.01)
        np.testing.assert_allclose(np.subtract(holes, plugs), FITS[fit], atol=0.01)
        assert each["clearance_mm"] == FITS[fit]


def test_a_tapering_plug_and_one_with_a_lip_cannot_fall_in():
    for kind, falls in (("straight", True), ("taper", False), ("lip", False)):
        done = Vent(plugs=kind, plug_fit="press").apply(Workpiece(head=hollow_ball()))
        inwards = transform(np.eye(3), -1.0 * np.array(done.figures["plugs"][0]["way"]))
        shared = volume(intersection(done.parts["plug-1"].moved(inwards), done.head))
        assert (shared < 1e-9) == falls


def test_fits_come_from_a_table_of_ones_own(tmp_path):
    (tmp_path / "fits.toml").write_text("press = 0.12")
    done = Vent(plugs="straight", fit_table=str(tmp_path / "fits.toml")).apply(Workpiece(head=hollow_ball()))
    (hole,), (plug,) = (widths(mesh, done.figures["holes"][0], (1.0,)) for mesh in (done.head, done.parts["plug-1"]))
    assert hole - plug == pytest.approx(0.12, abs=0.01)


def test_a_plug_that_cannot_be_made_is_refused():
    with pytest.raises(NotPossible, match="too thin for a lip"):
        Vent(plugs="lip", plug_thick=1.6).apply(Workpiece(head=hollow_ball()))
    small = hollowed(sphere(4, sag=0.01), sphere(2.5, sag=0.01))
    with pytest.raises(NotPossible, match="skin falls away"):
        Vent(plugs="lip", plug_lip=2.5, diameter=2.0).apply(Workpiece(head=small))
    with pytest.raises(NotPossible, match="leaves nothing of its plug"):
        Vent(plugs="straight", plug_fit="loose", diameter=0.3).apply(Workpiece(head=hollow_ball()))


def test_a_hollow_above_a_peg_drains_through_it():
    head = union(sphere(16, sag=0.02), cylinder((0, 0, -22), (0, 0, -10), 5))
    neck = Done("neck", {}, {"cut_at_mm": [0.0, 0.0, -15.5], "cut_up": [0.0, 0.0, 1.0]})
    hollow = Hollow(wall=2).apply(Workpiece(head=head, history=(neck,)))
    done = Vent().apply(hollow)
    np.testing.assert_allclose(done.figures["holes"][0]["at_mm"], [0, 0, -22], atol=0.05)
    # Open at the top, as after the skull cap is parted off, it still drains at the neck.
    bowl = split(hollow.head, (0, 0, 5), (0, 0, 1))[1]
    opened = Vent().apply(Workpiece(head=bowl, history=(neck,)))
    assert opened.figures["openings"] == 1
    assert genus(opened.head) == 1


@pytest.mark.parametrize("seed", range(4))
def test_no_closed_hollow_remains_in_random_lumps(seed):
    chance = np.random.default_rng(seed)
    lump = union(*(sphere(chance.uniform(6, 10), chance.normal(size=3) * 6, sag=0.05) for _ in range(4)))
    done = Vent(diameter=1.5).apply(Hollow(wall=1.6, cell=0.4).apply(Workpiece(head=lump)))
    assert closed_cavities(done.head) == []
    assert is_watertight(done.head)
    assert done.figures["openings"] >= 2


def air_pockets(mesh, step=0.25):
    """How many pieces the air in and about a part falls into: it is flooded on a grid, whatever its faces say."""
    air = np.pad(~layers_of(mesh, np.array([0.0, 0.0, 1.0]), step, step).solid, 1, constant_values=True)
    return label(air)[1]


@pytest.mark.parametrize("seed", range(20))
def test_air_gets_into_every_hollow_of_a_head(seed):
    """Twenty people at 1/6, printed another way up each, walls from thin to thick."""
    chance = np.random.default_rng(seed)
    head = demo_surface(seed, 8.0).moved(np.diag([1 / 6, 1 / 6, 1 / 6, 1.0]))
    wall = chance.uniform(1.6, 3.0)
    hollow = Hollow(wall=wall, cell=wall / 4).apply(Workpiece(head=head))
    assert air_pockets(hollow.head) >= 2
    done = Vent(up=tuple(chance.normal(size=3))).apply(hollow)
    assert air_pockets(done.head) == 1
    assert is_watertight(done.head)
    assert done.figures["openings"] >= 2


def test_a_solid_head_is_left_as_it_is():
    ball = sphere(10, sag=0.05)
    done = Vent().apply(Workpiece(head=ball))
    assert done.head is ball
    assert done.figures["openings"] == 0


@pytest.mark.parametrize(("kind", "tilt"), [("cup", 0.0), ("magnet", 6.0)])
def test_a_hollow_over_a_joint_drains_at_the_lowest_place_beside_it(kind, tilt):
    """Printed neck down, no pool stays about the joint: flooded on layers, whatever was measured."""
    head = union(sphere(16, sag=0.05), cylinder((0, 2, -26), (0, 2, 0), 10, sag=0.05))
    piece = run([Neck(kind=kind, tilt=tilt), Hollow(wall=1.5, cell=0.35)], Workpiece("h", head=head))
    done = Vent().apply(piece)
    drain, (neck,) = done.figures["holes"][0], [each.figures for each in done.history if each.name == "neck"]
    foot, up = np.array(neck["cut_at_mm"]), np.array(neck["cut_up"])
    off = np.array(drain["at_mm"]) - foot
    widest = neck.get("cup_diameter_mm") or neck["bore_diameter_mm"]
    assert off @ up == pytest.approx(0.0, abs=0.01)  # it opens in the neck's face
    assert widest / 2 + 1.0 < np.linalg.norm(off) < 10 - 1.0  # beside the joint, a radius from either
    pools = suction_cups(layers_of(done.head, np.array([0.0, 0.0, 1.0]), 0.1, 0.1))
    assert sum(pool.area for pool in pools) < np.pi
    # Open at the top, as after the skull cap is parted off, it drains there too.
    opened = Vent().apply(piece.but(head=split(piece.head, (0, 0, 5), (0, 0, 1))[1]))
    (hole,) = opened.figures["holes"]
    assert hole["at_mm"][2] == pytest.approx(drain["at_mm"][2], abs=0.05)
    assert np.linalg.norm(np.array(hole["at_mm"]) - foot) == pytest.approx(np.linalg.norm(off), abs=0.3)
    # Through the joint, as a hole along the neck's axis was, a moat stays about it: the flood does find it.
    bored = difference(piece.head, cylinder(foot - 2 * up, foot + 14 * up, 1.0), cylinder((0, 0, 0), (0, 0, 20), 1.0))
    assert max(pool.area for pool in suction_cups(layers_of(bored, np.array([0.0, 0.0, 1.0]), 0.1, 0.1))) > 50


def test_the_open_beside_a_leaning_neck_is_no_floor():
    """The neck's foot spreads to 14 mm, 1.5 mm high, well under the floor of the bowl over it."""
    foot = union(cylinder((0, 0, -24), (0, 0, 0), 10, sag=0.05), cylinder((0, 0, -24), (0, 0, -22.5), 14, sag=0.05))
    hollow = difference(
        union(sphere(16, sag=0.05), foot), sphere(14, sag=0.05), cylinder((0, 0, -21), (0, 0, 0), 8), box(*ABOVE)
    )
    neck = {"kind": "magnet", "bore_diameter_mm": 5.0, "cut_at_mm": [0.0, 0.0, -24.0], "cut_up": [0.0, 0.0, 1.0]}
    (hole,) = Vent().apply(Workpiece(head=hollow, history=(Done("neck", {}, neck),))).figures["holes"]
    assert hole["length_mm"] == pytest.approx(3.0, abs=0.01)
    assert 3.5 < np.hypot(*hole["at_mm"][:2]) < 8.0


def test_a_hole_without_room_beside_the_joint_goes_through_it_and_says_so():
    head = union(sphere(16, sag=0.05), cylinder((0, 2, -26), (0, 2, 0), 10, sag=0.05))
    done = run([Neck(kind="magnet"), Hollow(wall=1.5, cell=0.35), Vent(diameter=6.0)], Workpiece("h", head=head))
    np.testing.assert_allclose(done.history[-1].figures["holes"][0]["at_mm"][:2], [0.0, 2.0], atol=0.3)
    assert any("no room in the neck's face beside the magnet" in note for note in done.notes)
