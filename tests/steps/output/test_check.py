"""The check finds what is planted, at its place, and nothing on clean parts."""

import numpy as np
import pytest
from canthus.geometry.errors import BadFile, BadSetting, NotReady
from canthus.geometry.mesh import Mesh
from canthus.geometry.printing.cavities import hollowed
from canthus.geometry.solids.booleans import difference, union
from canthus.geometry.solids.primitives import box, cylinder, icosphere, sphere
from canthus.steps.output.check import Check
from canthus.steps.output.printers import printer_named
from canthus.steps.output.sizes import smallest_tube
from canthus.steps.output.vent import Vent
from canthus.steps.workpiece import Done, Eye, Workpiece


def together(*meshes):
    starts = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes)])
    return Mesh(
        np.concatenate([mesh.vertices for mesh in meshes]),
        np.concatenate([mesh.triangles + start for mesh, start in zip(meshes, starts, strict=False)]),
    )


def findings(head, **fields):
    done = Check().apply(Workpiece(head=head, **fields))
    return {each.name: each for each in done.checks}, done


def clean_head():
    return sphere(18, sag=0.02)


def failed(found):
    return sorted(name for name, each in found.items() if not each.ok)


def test_a_clean_part_has_nothing_to_find():
    found, done = findings(box((0, 0, 0), (35, 36, 37)))
    assert failed(found) == []
    assert done.figures["grave"] == 0
    assert done.figures["resin_ml"] == pytest.approx(35 * 36 * 37 / 1000)
    assert done.figures["mass_g"] == pytest.approx(1.1 * done.figures["resin_ml"])


def test_resin_mass_and_cost_of_all_parts():
    """A litre at 60 a piece: 27 ml of resin in a cube of 30 mm and 1 in one of 10 mm."""
    piece = Workpiece(head=box((0, 0, 0), (30, 30, 30)), parts={"lump": box((50, 0, 0), (60, 10, 10))})
    figures = Check(price=60.0, density=1.2).apply(piece).figures
    assert figures["resin_ml"] == pytest.approx(28.0)
    assert figures["mass_g"] == pytest.approx(1.2 * 28.0)
    assert figures["cost"] == pytest.approx(0.028 * 60.0)
    assert "cost" not in Check().apply(piece).figures


def test_an_open_edge():
    head = clean_head()
    hole = head.kept(np.arange(1, len(head.triangles)))
    found, _ = findings(hole)
    assert found["head: open edges"].value == 3
    assert found["head: open edges"].grave
    assert np.linalg.norm(found["head: open edges"].where - head.corners[0].mean(axis=0)) < 1


@pytest.mark.parametrize(("skin", "words"), [(None, "thicken"), ("whole", "before any cut"), ("solid", "thicken")])
def test_a_thin_place_of_the_scan_is_told_apart_from_a_thin_wall_that_was_cut(skin, words):
    """A fin 0.3 mm thick on a ball; either the scan had it, or it was left by cutting."""
    fin = union(sphere(18, sag=0.02), box((-4, -0.15, 15), (4, 0.15, 21)))
    skins = {"whole": fin, "solid": union(sphere(18, sag=0.02), box((-4, -4, 15), (4, 4, 21))), None: None}
    found, _ = findings(fin, skin=skins[skin])
    assert found["head: least wall"].value == pytest.approx(0.3, abs=1e-3)
    assert words in found["head: least wall"].advice
    assert ("before any cut" in found["head: least wall"].advice) == (skin == "whole")


def test_a_flipped_face():
    head = clean_head()
    turned = head.triangles.copy()
    turned[100] = turned[100][::-1]
    found, _ = findings(Mesh(head.vertices, turned))
    assert found["head: flipped faces"].value == 3


def test_a_part_inside_out():
    head = clean_head()
    assert not findings(Mesh(head.vertices, head.triangles[:, ::-1]))[0]["head: inside out"].ok


def test_faces_through_each_other():
    head = together(clean_head(), sphere(3, (0, -18, 0), sag=0.02))
    found, _ = findings(head)
    finding = found["head: faces through each other"]
    assert not finding.ok
    assert abs(np.linalg.norm(np.asarray(finding.where) - [0, -18, 0]) - 3) < 0.3


def test_a_closed_cavity():
    found, _ = findings(hollowed(clean_head(), sphere(4, (3, 0, 0), sag=0.02)))
    assert found["head: closed cavities"].value == 1
    np.testing.assert_allclose(found["head: closed cavities"].where, [3, 0, 0], atol=0.1)


@pytest.mark.parametrize("thickness", [0.1, 0.3])
def test_a_thin_wall_is_measured_where_it_is(thickness):
    plate = box((-5, -5, 17), (5, 5, 17 + thickness))
    stump = difference(clean_head(), box((-20, -20, 10), (20, 20, 20)))
    head = union(stump, cylinder((0, 0, 9), (0, 0, 17.05), 2), plate)
    found, _ = findings(head)
    finding = found["head: least wall"]
    assert finding.value == pytest.approx(thickness, abs=1e-4)
    assert finding.where[2] == pytest.approx(17 + thickness / 2, abs=0.02)
    assert not found["head: thin walls"].ok


def test_thin_lids_are_told_apart_from_the_wall():
    head = difference(clean_head(), sphere(2.1, (5, -15.5, 0), sag=0.002))  # leaves 0.4 less in front of the pocket
    eye = Eye("left", (5.0, -15.5, 0.0), gaze=(5 / 16.286, -15.5 / 16.286, 0.0), diameter=4.0, clearance=0.1)
    found, _ = findings(difference(head, sphere(2.3, (5, -15.5, 0), sag=0.002)), eyes=(eye,))
    lids = found["head: lids of the left eye"]
    assert lids.value < 0.4
    assert lids.ok is False


def test_parts_that_overlap_and_eyes_that_bind():
    head = difference(clean_head(), sphere(4.1, (0, -16, 0), sag=0.004))
    eye = Eye("left", (0.0, -16.0, 0.0), diameter=8.0, clearance=0.1)
    fits = findings(head, eyes=(eye,), parts={"eye-left": sphere(4, (0, -16, 0), sag=0.004)})[0]
    assert fits["eye-left: gap to the socket"].value == pytest.approx(0.1, abs=0.006)
    assert fits["eye-left and head: overlap"].ok
    moved = findings(head, eyes=(eye,), parts={"eye-left": sphere(4, (0, -15.5, 0), sag=0.004)})[0]
    assert not moved["eye-left and head: overlap"].ok
    close = findings(head, eyes=(eye,), parts={"eye-left": sphere(4.08, (0, -16, 0), sag=0.004)})[0]
    assert not close["eye-left: gap to the socket"].ok


def test_islands_and_suction_cups_are_found():
    arm = union(box((-6, -6, 0), (6, 6, 20)), box((0, -1, 14), (12, 1, 16)), box((10, -1, 8), (12, 1, 15)))
    found, _ = findings(arm)
    assert found["head: islands"].value == 1
    np.testing.assert_allclose(found["head: islands"].where, [11, 0, 8], atol=0.2)
    bowl = difference(cylinder((0, 0, 0), (0, 0, 20), 8), cylinder((0, 0, 3), (0, 0, 21), 6))
    cup = findings(bowl)[0]["head: suction cup"]
    assert cup.value == pytest.approx(np.pi * 36, rel=0.05)
    assert not cup.ok
    assert not cup.grave


def test_narrow_vents_are_remarked_on():
    vented = Vent(diameter=1.0).apply(Workpiece(head=hollowed(clean_head(), sphere(15, sag=0.02))))
    history = (Done("vent", {}, vented.figures),)
    found, _ = findings(vented.head, history=history)
    assert found["vents: narrowest"].value == 1.0
    assert not found["vents: narrowest"].ok


def test_a_part_too_large_for_the_plate():
    found, _ = findings(box((0, 0, 0), (100, 60, 150)))
    assert found["head: share of the plate"].ok
    assert not findings(box((0, 0, 0), (100, 60, 170)))[0]["head: share of the plate"].ok


def test_a_small_part_is_remarked_on_but_not_grave():
    """Cylinder of 31.75 by 57.15: 16 CFR 1501.4 as in reference values, section 6."""
    found, _ = findings(sphere(15, sag=0.02))
    assert not found["head: small parts cylinder"].ok
    assert not found["head: small parts cylinder"].grave
    assert smallest_tube(cylinder((0, 0, 0), (3, 4, 12), 2))[0] == pytest.approx(4, abs=0.02)


def test_printers_of_ones_own(tmp_path):
    table = tmp_path / "printers.toml"
    table.write_text("[mine]\nplate = [50, 40, 60]\npixel = 0.02\nlayer = 0.03\n")
    assert printer_named("mine", str(table)).plate == (50, 40, 60)
    assert printer_named("large", str(table)).pixel == 0.05
    with pytest.raises(BadSetting, match="small, medium, large"):
        printer_named("huge")
    for wrong in ("[mine]\nplate = [1, 2]\npixel = 1\nlayer = 1\n", "[mine]\npixel = 3\n", "not toml", "mine = 3\n"):
        table.write_text(wrong)
        with pytest.raises(BadFile, match="printer"):
            printer_named("mine", str(table))
    with pytest.raises(BadFile):
        printer_named("mine", str(tmp_path / "missing.toml"))


def test_there_must_be_a_head():
    with pytest.raises(NotReady):
        Check().apply(Workpiece())
    assert icosphere(0) is not None


@pytest.mark.parametrize(("size", "grave"), [(0.12, False), (0.6, True)])
def test_crossing_faces_are_grave_where_they_could_open_a_wall(size, grave):
    """A ball half in the skin: the faces run on for its whole width, against a least wall of 0.4 mm."""
    finding = findings(together(icosphere(5, 17), icosphere(2, size / 2).moved(raised(17))))[0][
        "head: faces through each other"
    ]
    assert not finding.ok
    assert finding.grave == grave


def raised(by):
    matrix = np.eye(4)
    matrix[2, 3] = by
    return matrix
