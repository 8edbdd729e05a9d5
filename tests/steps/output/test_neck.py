"""The neck step: what it makes measures what was set, and what cannot be made is said in one line."""

import json

import numpy as np
import pytest
from canthus.files.reading import read
from canthus.files.writing import write
from canthus.geometry.errors import BadFile, BadSetting, NotPossible
from canthus.geometry.measures import components, is_watertight
from canthus.geometry.solids.booleans import difference, union
from canthus.geometry.solids.primitives import cylinder, frustum, sphere
from canthus.geometry.solids.sections import plane, section
from canthus.steps.output.magnets import MAGNETS
from canthus.steps.output.neck import Neck
from canthus.steps.workpiece import Landmark, Workpiece

SIXTH = np.diag([1 / 6, 1 / 6, 1 / 6, 1.0])
SKULL = sphere(1.0, sag=0.005).moved(np.array([[77, 0, 0, 0], [0, 100, 0, 0], [0, 0, 116, 15.0], [0, 0, 0, 1]], float))
HEAD = union(SKULL, cylinder((0, 20, -175), (0, 20, 0), 63.3, 0.05)).moved(SIXTH)
BUST = union(HEAD, frustum((0, 20 / 6, -50), (0, 20 / 6, -27), 40.0, 10.5, 0.01))
PIECE = Workpiece(head=HEAD, skin=HEAD, scale=1 / 6)


def peg_radii(piece, below):
    """Distances from the joint's axis of the outline so far below the cut."""
    done = piece.figures
    cut = plane(done["cut_at_mm"], done["cut_up"])
    outline = section(piece.head, cut.raised(-below))[0]
    return np.linalg.norm(outline.points, axis=1)


@pytest.mark.parametrize("head", [HEAD, BUST])
@pytest.mark.parametrize("tilt", [0.0, 12.0])
def test_a_peg_of_the_diameter_and_length_set(head, tilt):
    piece = Neck(diameter=8.0, length=9.0, tilt=tilt).apply(PIECE.but(head=head))
    assert is_watertight(piece.head)
    assert components(piece.head).max() == 0
    radii = peg_radii(piece, 4.0)
    assert 2 * radii.min() == pytest.approx(8.0, abs=0.01)
    assert 2 * radii.max() == pytest.approx(8.0, abs=0.01)
    cut = plane(piece.figures["cut_at_mm"], piece.figures["cut_up"])
    assert cut.heights(piece.head.vertices).min() == pytest.approx(-9.0, abs=0.001)


@pytest.mark.parametrize(("fit", "clearance"), [("none", 0.0), ("press", 0.05), ("slip", 0.18), ("loose", 0.35)])
def test_a_fit_is_taken_off_the_peg_and_added_to_the_bore(fit, clearance):
    """Press 0.05, slip 0.15-0.20, loose 0.30-0.40 on the diameter: reference_values section 5, common practice."""
    peg = Neck(diameter=8.0, fit=fit).apply(PIECE)
    assert 2 * peg_radii(peg, 3.0).max() == pytest.approx(8.0 - clearance, abs=0.01)
    magnet = Neck(kind="magnet", diameter=6.0, length=2.0, fit=fit).apply(PIECE)
    assert 2 * peg_radii(magnet, -1.0).min() > 0
    hole = section(magnet.head, plane(magnet.figures["cut_at_mm"], magnet.figures["cut_up"]).raised(1.0))[1]
    assert 2 * np.linalg.norm(hole.points, axis=1).max() == pytest.approx(6.0 + clearance, abs=0.01)


def test_fits_of_ones_own(tmp_path):
    (tmp_path / "fits.toml").write_text("slip = 0.22\n")
    piece = Neck(diameter=8.0, fit="slip", fit_table=str(tmp_path / "fits.toml")).apply(PIECE)
    assert piece.figures["peg_diameter_mm"] == pytest.approx(7.78)
    (tmp_path / "bad.toml").write_text("slip = wide\n")
    with pytest.raises(BadFile, match=r"bad\.toml: the table of fits is not TOML"):
        Neck(fit="slip", fit_table=str(tmp_path / "bad.toml")).apply(PIECE)
    (tmp_path / "odd.toml").write_text("slip = 'wide'\n")
    with pytest.raises(BadFile, match="fit slip must be millimetres"):
        Neck(fit="slip", fit_table=str(tmp_path / "odd.toml")).apply(PIECE)


def test_a_magnet_from_the_table(tmp_path):
    """The bore is as wide and deep as the disc and its fit, within 0.01 mm; a table of one's own adds to it."""
    (tmp_path / "mine.toml").write_text("mine = [5.1, 2.05]\n")
    for name, table, width, depth in (("5x2", "", 5.0, 2.0), ("mine", str(tmp_path / "mine.toml"), 5.1, 2.05)):
        piece = Neck(kind="magnet", magnet=name, magnet_table=table, fit="slip").apply(PIECE)
        cut = plane(piece.figures["cut_at_mm"], piece.figures["cut_up"])
        hole = section(piece.head, cut.raised(0.6 * depth))[1]
        assert 2 * np.linalg.norm(hole.points, axis=1).max() == pytest.approx(width + 0.18, abs=0.01)
        assert len(section(piece.head, cut.raised(depth - 0.01))) == 2
        assert len(section(piece.head, cut.raised(depth + 0.01))) == 1
    chosen = Neck(kind="magnet").apply(PIECE).figures
    assert (chosen["magnet_mm"], chosen["bore_depth_mm"]) in {(d.diameter, d.height) for d in MAGNETS.values()}


def test_a_magnet_that_is_not_there_is_refused(tmp_path):
    with pytest.raises(BadSetting, match="no magnet called '7x9': there are 2x1"):
        Neck(kind="magnet", magnet="7x9").apply(PIECE)
    with pytest.raises(BadSetting, match="magnet and diameter are two sizes"):
        Neck(kind="magnet", magnet="5x2", diameter=5.0).apply(PIECE)
    for number, wrong in enumerate(("mine = 3\n", "mine = [1, 2, 3]\n", "mine = [-1, 2]\n", "not toml")):
        table = tmp_path / f"{number}.toml"
        table.write_text(wrong)
        with pytest.raises(BadFile, match="magnet"):
            Neck(kind="magnet", magnet="mine", magnet_table=str(table)).apply(PIECE)


def test_a_cup_holds_a_ball_and_tells_its_lips_strain():
    piece = Neck(kind="cup", diameter=8.0).apply(PIECE)
    assert is_watertight(piece.head)
    figures = piece.figures
    assert figures["opening_mm"] == pytest.approx(0.94 * 8)
    assert figures["lip_deflection_mm"] == pytest.approx(0.24)
    assert 0 < figures["lip_strain_percent"] < 3
    tight = Neck(kind="cup", diameter=8.0, opening=0.8, lip=1.0).apply(PIECE)
    assert any("may crack" in note for note in tight.notes)


@pytest.mark.parametrize("kind", ["peg", "cup", "magnet"])
def test_a_size_that_suits_is_found(kind):
    piece = Neck(kind=kind).apply(PIECE)
    assert is_watertight(piece.head)


@pytest.mark.parametrize(("kind", "diameter"), [("peg", 22.0), ("cup", 18.0), ("magnet", 20.0)])
def test_too_thin_a_neck_says_what_would_go(kind, diameter):
    with pytest.raises(
        NotPossible, match=r"does not go into a neck [\d.]+ mm across .* take [\d.]+ mm at most"
    ) as caught:
        Neck(kind=kind, diameter=diameter).apply(PIECE)
    largest = float(str(caught.value).split("take ")[1].split(" mm")[0])
    assert is_watertight(Neck(kind=kind, diameter=largest - 0.05).apply(PIECE).head)


@pytest.mark.parametrize("collar", [16.0, 24.0])
def test_a_collar_of_the_diameter_set(collar):
    piece = Neck(kind="magnet", diameter=5.0, collar=collar).apply(PIECE)
    assert is_watertight(piece.head)
    outline = section(piece.head, plane(piece.figures["cut_at_mm"], (0, 0, 1)).raised(1e-4))[0]
    assert 2 * np.linalg.norm(outline.points, axis=1).max() == pytest.approx(collar, abs=0.01)


def test_a_head_that_is_hollow_already_is_refused():
    shell = difference(HEAD, cylinder((0, 20 / 6, -40), (0, 20 / 6, 10), 8.5))
    with pytest.raises(NotPossible, match=r"% of the cut is hollow.*run neck before hollow"):
        Neck().apply(PIECE.but(head=shell))


def test_landmarks_that_are_not_sure_are_not_used():
    weak = Landmark((0.0, -13.0, 5.0), confidence=0.2)
    piece = Neck().apply(PIECE.but(landmarks={"gnathion": weak}))
    assert piece.figures["cut_from"] == "narrowest section"


def test_the_piece_given_is_not_changed():
    before = HEAD.vertices.copy()
    Neck(collar=18.0).apply(PIECE)
    assert PIECE.head is HEAD
    np.testing.assert_array_equal(HEAD.vertices, before)


def test_impossible_settings_are_refused():
    with pytest.raises(BadSetting, match="kind is one of peg, cup, magnet"):
        Neck(kind="screw")
    with pytest.raises(BadSetting, match="diameter runs from 0 to 100 mm"):
        Neck(diameter=-1.0)


def test_the_command_line_on_a_bare_mesh(tmp_path, capsys):
    """The words of design.md: neck --kind peg --diameter MM -o."""
    from canthus.job.command import main

    write(tmp_path / "head.stl", HEAD)
    out = tmp_path / "out.stl"
    assert main(["neck", str(tmp_path / "head.stl"), "--kind", "peg", "--diameter", "8", "-o", str(out), "--json"]) == 0
    figures = json.loads(capsys.readouterr().out)
    mesh = read(out)
    assert is_watertight(mesh)
    outline = section(mesh, plane(figures["cut_at_mm"], figures["cut_up"]).raised(-3.0))[0]
    assert 2 * np.linalg.norm(outline.points, axis=1).max() == pytest.approx(8.0, abs=0.01)
