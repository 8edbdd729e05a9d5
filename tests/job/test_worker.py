import json
import subprocess
import sys
from pathlib import Path

import pytest
from canthus.geometry.errors import BadSetting
from canthus.geometry.solids.primitives import icosphere
from canthus.job import worker
from canthus.job.store import load, save
from canthus.steps.pose.scale import Scale
from canthus.steps.workpiece import Workpiece

from .conftest import Close, Look

CHILD = "import sys, pathlib; from canthus.job.worker import main; sys.exit(main(pathlib.Path(sys.argv[1])))"


def lines_of(text):
    return [json.loads(line) for line in text.splitlines()]


def test_a_child_process_gives_back_what_the_step_makes(tmp_path):
    piece = Workpiece(head=icosphere(2, 60.0))
    worker.hand_over(tmp_path, piece, [Scale(ratio=0.5)])
    done = subprocess.run([sys.executable, "-c", CHILD, str(tmp_path)], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    said = lines_of(done.stdout)
    assert said[0] == {"fraction": 0.0, "what": "scale"}
    assert said[-1]["fraction"] == 1.0
    after = worker.take_back(tmp_path)
    assert after.scale == 0.5
    assert (after.head.vertices == piece.head.vertices * 0.5).all()
    assert after.history[0].name == "scale"


def test_what_cannot_be_done_is_the_last_line(workshop, tmp_path, capsys):
    worker.hand_over(tmp_path, Workpiece(), [Close(), Look(least=50)])
    assert worker.main(tmp_path) == 2
    assert lines_of(capsys.readouterr().out)[-1] == {"error": "check: the wall is wider than the head: set least lower"}
    assert not (tmp_path / "out.npz").exists()


def test_nothing_half_written_is_taken_back(workshop, tmp_path, monkeypatch):
    worker.hand_over(tmp_path, Workpiece(), [Close()])

    def cut_off(path: Path, piece):
        path.write_bytes(b"half")
        raise KeyboardInterrupt

    monkeypatch.setattr(worker.store, "save", cut_off)
    with pytest.raises(KeyboardInterrupt):
        worker.main(tmp_path)
    assert not (tmp_path / "out.npz").exists()


def test_a_stranger_among_the_steps_is_refused(workshop, tmp_path, capsys):
    save(tmp_path / "in.npz", Workpiece())
    (tmp_path / "steps.json").write_text('{"steps": [{"step": "close", "turns": 3}], "spared": []}')
    assert worker.main(tmp_path) == 2
    assert "no setting called 'turns'" in lines_of(capsys.readouterr().out)[-1]["error"]
    with pytest.raises(BadSetting):
        Close.made_from({"turns": 3})


def test_the_workpiece_handed_over_is_the_one_read(tmp_path):
    worker.hand_over(tmp_path, Workpiece(name="a"), [])
    assert load(tmp_path / "in.npz").name == "a"


def test_a_spared_step_is_left_out_in_the_child_too(tmp_path, workshop):
    worker.hand_over(tmp_path, Workpiece(), [Close(), Look(least=50)], spared=("check",))
    assert worker.main(tmp_path) == 0
    piece = worker.take_back(tmp_path)
    assert "wider than the head" in piece.history[-1].figures["left_out"]
