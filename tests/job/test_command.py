import json
import re
import subprocess
import sys

import numpy as np
import pytest
from canthus.files.reading import read
from canthus.files.writing import write
from canthus.geometry.errors import BadFile
from canthus.geometry.progress import Cancelled
from canthus.geometry.solids.primitives import icosphere
from canthus.job import run
from canthus.job.arguments import parser, settings_in, tied
from canthus.job.command import main

from .conftest import Close


def everything_in(folder):
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


@pytest.fixture
def said(capsys):
    """What was printed since the last look: (out, err)."""
    return lambda: tuple(capsys.readouterr())


def test_the_shorthands_of_make_are_settings_of_its_steps():
    from canthus.job.command import _order
    from canthus.job.order import recipe_of

    words = ["make", "a.ply", "--out", "o", "--scale", "1/4", "--photographs", "marks.json", "--landmarks", "l.csv"]
    steps = {step.NAME: step.values() for step in recipe_of(_order(parser("0").parse_args(words))).steps}
    assert steps["scale"]["ratio"] == 0.25
    assert steps["place-eyes"]["photographs"] == "marks.json"
    assert steps["landmarks"]["file"] == "l.csv"


def test_options_are_the_declaration(workshop):
    """Every step is a sub-command, every setting an option; what is typed makes the step."""
    for step in workshop:
        for each in step.settings():
            spelled = {"bool": [f"--no-{each.name}"], "point": [each.flag, "-1,0,2"]}.get(each.kind)
            spelled = spelled or [each.flag, each.choices[-1] if each.choices else str(each.default)]
            options = parser("0").parse_args(tied([step.NAME, "in.ply", *spelled]))
            made = step.made_from(settings_in(options))
            expected = {"bool": False, "point": (-1.0, 0.0, 2.0)}.get(each.kind)
            expected = expected if expected is not None else (each.choices[-1] if each.choices else each.default)
            assert getattr(made, each.name) == expected


def test_the_listing_names_every_setting_with_unit_range_and_default(workshop, said):
    assert main(["steps"]) == 0
    out, err = said()
    assert err == ""
    assert "--resolution  0.5" in out
    assert "mm at life size" in out
    assert "0.1 to 5" in out
    assert main(["steps", "--json"]) == 0
    listed = json.loads(said()[0])
    assert list(listed) == [step.NAME for step in workshop]
    assert listed["close"]["settings"]["resolution"]["unit"] == "mm"


def test_a_step_writes_its_output_and_what_belongs_to_it(workshop, scan, said):
    goal = scan.parent / "head.ply"
    assert main(["close", str(scan), "-o", str(goal), "--json"]) == 0
    out, err = said()
    figures = json.loads(out)
    assert figures["triangles"] == 320
    assert figures["notes"] == ["closed the neck"]
    assert err == ""  # quiet when piped
    assert len(read(goal).triangles) == 320
    assert sorted(path.name for path in scan.parent.iterdir()) == [
        *("ball.ply", "head.canthus.json", "head.canthus.npz", "head.eye-left.ply", "head.ply")
    ]


def test_the_next_step_reads_back_what_lies_beside(workshop, scan, said):
    head, looked = scan.parent / "head.ply", scan.parent / "looked.stl"
    main(["close", str(scan), "-o", str(head)])
    assert main(["check", str(head), "-o", str(looked), "--least", "11"]) == 1  # a grave finding
    facts = json.loads((scan.parent / "looked.canthus.json").read_text())
    assert [done["name"] for done in facts["history"]] == ["close", "check"]
    assert facts["landmarks"]["vertex"]["position"] == [0, 0, 10]
    assert facts["eyes"][0]["clearance"] == 0.1
    assert (scan.parent / "looked.eye-left.stl").exists()


def test_a_landmark_moved_by_hand_is_taken_up(workshop, scan):
    head = scan.parent / "head.ply"
    main(["close", str(scan), "-o", str(head)])
    beside = scan.parent / "head.canthus.json"
    beside.write_text(beside.read_text().replace("10.0", "11.0", 1))
    facts = json.loads(beside.read_text())
    main(["check", str(head), "-o", str(head), "--overwrite"])
    assert json.loads(beside.read_text())["landmarks"] == facts["landmarks"]


def test_nothing_is_overwritten_without_being_asked(workshop, scan, capsys):
    before = scan.read_bytes()
    for words in (["close", str(scan)], ["compare", str(scan), str(scan)]):
        assert main([*words, "-o", str(scan)]) == 2
        assert f": {scan} is there already: name another file, or say --overwrite\n" in capsys.readouterr().err
        assert scan.read_bytes() == before


def test_a_file_changed_outside_wins_over_what_lies_beside(workshop, scan):
    head = scan.parent / "head.ply"
    main(["close", str(scan), "-o", str(head)])
    write(head, icosphere(1, 9.0), overwrite=True)
    main(["check", str(head), "-o", str(scan.parent / "looked.ply")])
    assert len(read(scan.parent / "looked.ply").triangles) == 80
    facts = json.loads((scan.parent / "looked.canthus.json").read_text())
    assert any("was changed after" in note for note in facts["notes"])


def test_several_inputs_are_passes_of_one_head(workshop, scan):
    main(["load", str(scan), str(scan), "-o", str(scan.parent / "both.ply")])
    both = read(scan.parent / "both.ply")
    assert len(both) == 2 * len(read(scan).vertices)
    assert set(both.columns["view"]) == {0, 1}


def test_units_of_a_single_step(workshop, scan):
    main(["check", str(scan), "--units", "cm", "-o", str(scan.parent / "big.ply")])
    assert np.abs(read(scan.parent / "big.ply").vertices).max() == pytest.approx(120.0)


@pytest.mark.parametrize(
    ("words", "fault"),
    [
        ([], "COMMAND"),
        (["no-such-step", "a.ply"], "no-such-step"),
        (["close"], "INPUT"),
        (["close", "SCAN", "--resolution", "9"], "canthus close: resolution runs from 0.1 to 5 mm, not 9"),
        (["close", "SCAN", "--resolution", "fine"], "resolution takes a number, not 'fine'"),
        (["close", "SCAN", "--resolutoin", "1"], "canthus close: takes no --resolutoin"),
        (["close", "SCAN", "--way", "1,2"], "way takes three numbers"),
        (["close", "SCAN", "-o", "head.xyzzy"], r"\.xyzzy"),
        (["close", "SCAN", "-o", "head"], "without an ending"),
        (["close", "nowhere.ply"], r"nowhere\.ply"),
        (["close", "BROKEN"], r"broken\.ply"),
        (["check", "SCAN", "--units", "furlong"], "furlong"),
        (["check", "SCAN", "--least", "50"], "wider than the head"),
        (["make", "SCAN"], "--out"),
        (["make", "--out", "OUT"], "no scan given"),
        (["make", "SCAN", "--out", "OUT", "--set", "close"], "STEP.SETTING=VALUE"),
        (["make", "SCAN", "--out", "OUT", "--set", "close.turns=3"], "no setting called 'turns'"),
        (["make", "SCAN", "--out", "OUT", "--set", "shut.turns=3"], "no step called 'shut'"),
        (["make", "SCAN", "--out", "OUT", "--skip", "shut"], "no step called 'shut'"),
        (["make", "SCAN", "--out", "OUT", "--skip", "close"], "make no part"),
        (["make", "SCAN", "--out", "SCAN"], "ball.ply"),
        (["make", "BROKEN", "--out", "OUT"], r"broken\.ply"),
        (["make", "--recipe", "none.toml", "--out", "OUT"], r"none\.toml"),
        (["compare", "SCAN"], "B"),
        (["compare", "SCAN", "BROKEN"], r"broken\.ply"),
    ],
)
def test_bad_usage_is_one_line_and_status_2(workshop, scan, said, words, fault, monkeypatch, tmp_path):
    monkeypatch.chdir(scan.parent)
    (scan.parent / "broken.ply").write_bytes(b"ply\nformat ascii 1.0\nelement vertex 9\n")
    before = everything_in(tmp_path)
    places = {"SCAN": str(scan), "BROKEN": "broken.ply", "OUT": str(tmp_path / "out")}
    assert main([places.get(word, word) for word in words]) == 2
    out, err = said()
    assert out == ""
    assert err.count("\n") == 1
    assert re.search(fault, err), err
    assert everything_in(tmp_path) == before


@pytest.mark.parametrize("stopped", [KeyboardInterrupt, Cancelled])
@pytest.mark.parametrize("command", ["close", "make"])
def test_stopping_leaves_the_disk_as_it_was(workshop, scan, said, monkeypatch, tmp_path, stopped, command):
    def stop(*_):
        raise stopped

    monkeypatch.setattr(Close, "apply", stop)
    before = everything_in(tmp_path)
    goal = ["-o", str(tmp_path / "new.ply")] if command == "close" else ["--out", str(tmp_path / "out")]
    assert main([command, str(scan), *goal]) == 130
    assert said()[1] == f"canthus {command}: stopped, nothing written\n"
    assert everything_in(tmp_path) == before


def test_a_fault_while_writing_leaves_the_disk_as_it_was(workshop, scan, said, monkeypatch, tmp_path):
    from canthus.job import sidecar

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(sidecar, "save_arrays", full)
    before = everything_in(tmp_path)
    assert main(["close", str(scan), "-o", str(tmp_path / "new.ply")]) == 2
    assert "No space left on device" in said()[1]
    assert everything_in(tmp_path) == before


def test_a_bug_keeps_its_traceback(workshop, scan, monkeypatch):
    def bug(*_):
        raise RuntimeError("a bug")

    monkeypatch.setattr(Close, "apply", bug)
    with pytest.raises(RuntimeError, match="a bug"):
        main(["close", str(scan)])


def test_the_module_runs_by_name(tmp_path):
    done = subprocess.run([sys.executable, "-m", "canthus", "--version"], capture_output=True, text=True, cwd=tmp_path)
    assert done.returncode == 0
    assert done.stdout.startswith("canthus 0.")


@pytest.mark.skipif(sys.platform == "win32", reason="pipes end otherwise there")
def test_who_stops_reading_gets_no_traceback(tmp_path):
    """Status 128 + SIGPIPE, as a shell tells of any program whose reader left."""
    code = "import sys; sys.argv=['canthus','steps']; from canthus.__main__ import run; sys.exit(run())"
    words = [sys.executable, "-c", code]
    with subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=tmp_path) as running:
        running.stdout.close()
        assert running.stderr.read() == b""
    assert running.returncode == 141


def test_no_bpy_is_loaded_for_a_step(tmp_path):
    code = (
        "import sys; sys.argv=['canthus','steps']; from canthus.__main__ import run; run(); print('bpy' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=tmp_path)
    assert done.stdout.splitlines()[-1] == "False"


def test_passes_that_cannot_be_read_name_the_file(workshop, scan):
    from canthus.job.sidecar import piece_in

    with pytest.raises(BadFile, match=r"second\.ply"):
        piece_in([scan, scan.with_name("second.ply")])


def test_the_next_step_goes_on_from_the_same_bits(workshop, tmp_path):
    """What a file's 32 bits round off is kept beside it: walked step by step a job makes what `make` makes."""
    from canthus.job.sidecar import piece_in

    scan, goal = tmp_path / "points.xyz", tmp_path / "big.ply"
    scan.write_text("0.1 0.2 0.3\n1.1 2.2 3.3\n-4.7 5.9 6.01\n")
    main(["load", str(scan), "--units", "cm", "-o", str(goal)])
    assert np.array_equal(piece_in([goal]).scan.points, 10.0 * np.loadtxt(scan))
    assert not np.array_equal(read(goal).points, 10.0 * np.loadtxt(scan))


def test_one_step_is_recorded_once(workshop, scan):
    from canthus.job.sidecar import piece_in

    after = run.run_step(Close(), piece_in([scan]))
    assert len(after.history) == 1
