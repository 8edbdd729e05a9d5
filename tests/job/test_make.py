import json
import re
import tomllib

import pytest
from canthus.files.reading import read
from canthus.geometry.errors import BadFile, BadSetting
from canthus.geometry.progress import Cancelled, Progress
from canthus.job.chain import CHAIN, chain
from canthus.job.command import main
from canthus.job.make import make
from canthus.job.order import Order
from canthus.job.page_sections import checks
from canthus.job.studio import Picture
from canthus.steps.catalogue import all_steps

from .test_command import everything_in

# The keys other programs read; from the design of the project.
KEYS = {
    "steps": {"name", "seconds", "peak_mb", "settings"},
    "parts": {"name", "file", "triangles", "volume_mm3", "watertight"},
    "eyes": {"side", "centre_mm", "gaze", "diameter_mm", "clearance_mm"},
    "checks": {"name", "value", "limit", "unit", "ok", "where"},
}
PNG = b"\x89PNG\r\n\x1a\n not a whole one"


class Camera:
    """Stands in for Blender."""

    def pictures(self, piece, progress):
        progress(0.5, "picture 1 of 1")
        return [Picture("front", "Front & <centre>", PNG)]

    def save_blend(self, piece, path):
        path.write_bytes(b"BLENDER")


def test_everything_the_design_names_is_written(workshop, scan, tmp_path):
    outcome = make(Order((scan,), tmp_path / "out", name="ball head"), studio=Camera())
    names = {str(path.relative_to(tmp_path / "out")) for path in (tmp_path / "out").rglob("*") if path.is_file()}
    assert names == {
        *("parts/head.stl", "parts/eye-left.stl", "ball head.3mf", "ball head.blend"),
        *("report.html", "report.json", "recipe.toml", "likeness.ply", "likeness.png"),
    }
    assert outcome.printable
    assert outcome.left_out == ()
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out", "scans"]


def test_the_report_holds_what_the_design_names(workshop, scan, tmp_path):
    make(Order((scan,), tmp_path / "out"))
    report = json.loads((tmp_path / "out" / "report.json").read_text(encoding="utf-8"))
    for section, keys in KEYS.items():
        assert report[section], section
        assert all(keys <= set(entry) for entry in report[section]), section
    assert {"mm", "confidence"} <= set(report["landmarks"]["vertex"])
    assert {"canthus", "python", "numpy"} <= set(report["versions"])
    assert report["scale"] == 1.0
    assert report["units_in"] == "mm"
    head = report["parts"][0]
    assert (head["name"], head["file"], head["triangles"], head["watertight"]) == ("head", "parts/head.stl", 320, True)
    assert len(read(tmp_path / "out" / head["file"]).triangles) == 320
    assert report["parts"][1]["volume_mm3"] == pytest.approx(6.0)  # a box of 1 x 2 x 3


def test_files_and_report_are_larger_by_what_the_resin_shrinks(workshop, scan, tmp_path, monkeypatch):
    """A box of 1 x 2 x 3 mm that is to shrink by 2 %; eyes lie where they lie in the files, the piece stays itself."""
    close, larger = workshop[1], 1 / 0.98
    plain = close.apply
    monkeypatch.setattr(close, "apply", lambda step, piece, progress: plain(step, piece, progress).but(shrinkage=0.02))
    outcome = make(Order((scan,), tmp_path / "out"), studio=Camera())
    report = json.loads((tmp_path / "out" / "report.json").read_text(encoding="utf-8"))
    assert report["shrinkage_percent"] == pytest.approx(2.0)
    box = read(tmp_path / "out" / "parts" / "eye-left.stl")
    assert box.vertices.max() == pytest.approx(3 * larger)
    assert report["parts"][1]["volume_mm3"] == pytest.approx(6 * larger**3)
    assert report["eyes"][0]["centre_mm"] == pytest.approx([3 * larger, -8 * larger, 0])
    assert report["checks"][0]["where"] == pytest.approx([0, larger, 2 * larger])
    assert report["checks"][0]["value"] == 10.0
    assert outcome.piece.parts["eye-left"].vertices.max() == 3.0
    assert "2.04 % larger than the finished parts" in (tmp_path / "out" / "report.html").read_text(encoding="utf-8")


def test_the_recipe_makes_the_same_bytes_again(workshop, scan, tmp_path):
    assert main(["make", str(scan), "--out", str(tmp_path / "a"), "--set", "close.resolution=0.7"]) == 0
    assert main(["make", "--recipe", str(tmp_path / "a" / "recipe.toml"), "--out", str(tmp_path / "b")]) == 0
    for name in ("recipe.toml", "ball.3mf", "parts/head.stl", "parts/eye-left.stl"):
        assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes(), name
    assert tomllib.loads((tmp_path / "b" / "recipe.toml").read_text(encoding="utf-8"))["step"][1]["resolution"] == 0.7


def test_a_recipe_refuses_another_scan_of_that_name_unless_it_is_given(workshop, scan, tmp_path):
    make(Order((scan,), tmp_path / "a"))
    scan.write_bytes(scan.read_bytes() + b"\n")
    with pytest.raises(BadFile, match=r"ball\.ply is not the file recipe\.toml was made from"):
        make(Order((), tmp_path / "b", recipe=tmp_path / "a" / "recipe.toml"))
    make(Order((scan,), tmp_path / "b", recipe=tmp_path / "a" / "recipe.toml"))


def test_another_head_made_by_a_recipe_goes_by_its_own_name(workshop, scan, tmp_path):
    make(Order((scan,), tmp_path / "a", name="sitter"))
    recipe, other = tmp_path / "a" / "recipe.toml", scan.with_name("next head.ply")
    other.write_bytes(scan.read_bytes() + b"\n")
    assert make(Order((other,), tmp_path / "b", recipe=recipe)).piece.name == "next head"
    assert make(Order((other,), tmp_path / "c", name="mine", recipe=recipe)).piece.name == "mine"
    moved = scan.rename(scan.with_name("moved.ply"))
    assert make(Order((moved,), tmp_path / "d", recipe=recipe)).piece.name == "sitter"


def test_settings_of_the_order_go_over_those_of_the_recipe(workshop, scan, tmp_path):
    make(Order((scan,), tmp_path / "a"))
    recipe = tmp_path / "a" / "recipe.toml"
    made = make(Order((), tmp_path / "b", recipe=recipe, settings={"close": {"rounds": 7}}))
    assert made.piece.history[1].settings["rounds"] == 7
    with pytest.raises(BadSetting, match="no step hollow"):
        make(Order((), tmp_path / "c", recipe=recipe, settings={"hollow": {"wall": 2}}))


def test_results_of_before_are_kept_unless_asked(workshop, scan, tmp_path):
    order = ["make", str(scan), "--out", str(tmp_path / "out")]
    assert main(order) == 0
    (tmp_path / "out" / "my notes.txt").write_text("mine")
    (tmp_path / "out" / "parts" / "old.stl").write_text("of an earlier run")
    before = everything_in(tmp_path)
    assert main(order) == 2
    assert everything_in(tmp_path) == before
    assert main([*order, "--overwrite"]) == 0
    assert (tmp_path / "out" / "my notes.txt").read_text() == "mine"
    assert not (tmp_path / "out" / "parts" / "old.stl").exists()


@pytest.mark.parametrize("stop_at", range(0, 12, 2))
def test_cancelling_anywhere_leaves_the_disk_as_it_was(workshop, scan, tmp_path, stop_at):
    calls = []

    def listen(fraction, what):
        calls.append(what)
        if len(calls) > stop_at:
            raise Cancelled

    before = everything_in(tmp_path)
    with pytest.raises(Cancelled):
        make(Order((scan,), tmp_path / "out"), Progress(listen), Camera())
    assert everything_in(tmp_path) == before
    assert not (tmp_path / "out").exists()


def test_a_finding_that_forbids_printing_is_status_1_and_files_are_written(workshop, scan, tmp_path, capsys):
    assert main(["make", str(scan), "--out", str(tmp_path / "out"), "--set", "check.least=11"]) == 1
    assert (tmp_path / "out" / "parts" / "head.stl").exists()
    assert "Do not print this yet" in (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert "least wall 10 mm" in capsys.readouterr().out


def test_what_is_left_out_is_said_in_one_line(workshop, scan, tmp_path, capsys):
    assert main(["make", str(scan), "--out", str(tmp_path / "out"), "--json"]) == 0
    out, err = capsys.readouterr()
    assert err.count("\n") == 1
    assert "Blender" in err
    assert json.loads(out)["left_out"]


def test_the_page_needs_nothing_but_itself(workshop, scan, tmp_path):
    make(Order((scan,), tmp_path / "out", name="<b>&"), studio=Camera())
    page = (tmp_path / "out" / "report.html").read_text(encoding="utf-8")
    assert "<title>&lt;b&gt;&amp;</title>" in page
    assert "Front &amp; &lt;centre&gt;" in page
    assert "data:image/png;base64,iVBOR" in page
    for outside in ("http:", "https:", "<link", "<script", "@import", "url("):
        assert outside not in page
    for subject in ("Resin", "Solvent", "Small parts", "Scanner light", "consent", "rules of the place"):
        assert subject in page


def test_a_step_outside_the_chain_is_pointed_to(workshop):
    with pytest.raises(BadSetting, match="no step called 'relief'"):
        chain({"relief": {}})


def test_a_changed_file_of_a_setting_is_refused_unless_named_again(workshop, scan, tmp_path):
    marks = tmp_path / "marks.json"
    marks.write_text("1")
    make(Order((scan,), tmp_path / "a", settings={"close": {"guide": str(marks)}}))
    recipe = tmp_path / "a" / "recipe.toml"
    make(Order((), tmp_path / "b", recipe=recipe))
    marks.write_text("2")
    with pytest.raises(BadFile, match=r"marks\.json is not the file recipe\.toml was made from"):
        make(Order((), tmp_path / "c", recipe=recipe))
    make(Order((), tmp_path / "c", recipe=recipe, settings={"close": {"guide": str(marks)}}))


def test_passes_are_brought_together_only_where_there_are_several():
    """With the steps there really are."""
    assert "register" not in [step.NAME for step in chain({})]
    assert [step.NAME for step in chain({}, (), 3)][:3] == ["load", "assess", "register"]


def test_the_chain_keeps_to_the_order_of_the_catalogue():
    order = [step.NAME for step in all_steps()]
    places = [order.index(name) for name in CHAIN if name in order]
    assert places == sorted(places)


def test_a_finding_is_shown_beside_its_row():
    """Its number stands in the table and under the picture, which is not among the pictures of the whole."""
    rows = [{"name": name, "value": 1, "limit": 0, "unit": "", "where": [1.0, 2.0, 3.0]} for name in ("a", "b", "c")]
    found = [{**row, "ok": row["name"] == "a", "grave": row["name"] == "c", "advice": ""} for row in rows]
    pictures = [Picture("finding-2", "c, cut open", PNG), Picture("finding-1", "b", PNG)]
    text = checks({"checks": found}, pictures)
    assert text.index("<td>c</td>") < text.index("<td>b</td>")
    assert re.findall(r'1.0, 2.0, 3.0</span></td><td class="number">(\d)</td>', text) == ["1", "2"]
    assert re.findall(r"<figcaption>(\d)  ([^<]+)</figcaption>", text) == [("1", "c, cut open"), ("2", "b")]
