"""Cancelled in the middle of any step there is, the workpiece and the disk are as they were."""

import functools
import tempfile
from pathlib import Path

import numpy as np
import pytest
from canthus.files.writing import write
from canthus.geometry.progress import Cancelled, Progress
from canthus.job import command, run
from canthus.job.chain import CHAIN
from canthus.job.command import STOPPED, main
from canthus.job.make import make
from canthus.job.order import Order
from canthus.job.run import run_step
from canthus.job.sidecar import write_out
from canthus.job.store import pack
from canthus.steps.catalogue import all_steps, step_named
from canthus.steps.workpiece import Workpiece
from small_pieces import piece_for, settings_for

STEPS = [step.NAME for step in all_steps()]
WHEN = ("first", "middle", "last")


class Stop:
    """Listens to one step's own words and raises `Cancelled` out of one of them; counts them all where `at` is None."""

    def __init__(self, step, at=None):
        self.step, self.at, self.words = step, at, []

    def __call__(self, fraction, what):
        if what.startswith(f"{self.step}: "):
            self.words.append(what)
            if self.at is not None and len(self.words) > self.at:
                raise Cancelled


@functools.cache
def words_of(step):
    """What the step says while it works, to the end."""
    listener = Stop(step)
    with tempfile.TemporaryDirectory() as folder:
        run_step(made(step, Path(folder)), piece_for(step), Progress(listener))
    return tuple(listener.words)


def stop_at(step, when):
    """A listener that stops the step's work at its first word, one in the middle or its last."""
    count = len(words_of(step))
    return Stop(step, {"first": 0, "middle": count // 2, "last": count - 1}[when])


def made(step, folder):
    return step_named(step).made_from(settings_for(step, folder))


def held(piece):
    """All there is in a workpiece, copied."""
    arrays, facts = pack(piece)
    return {name: array.copy() for name, array in arrays.items()}, facts


def everything_in(folder):
    """Path to bytes, folders with None."""
    return {path.relative_to(folder): path.read_bytes() if path.is_file() else None for path in folder.rglob("*")}


@pytest.mark.parametrize("step", STEPS)
def test_every_step_says_what_it_does_before_it_does_it(step):
    """Without a word nothing could be cancelled."""
    assert words_of(step)


@pytest.mark.parametrize("when", WHEN)
@pytest.mark.parametrize("step", STEPS)
def test_the_workpiece_is_bit_for_bit_what_it_was(step, when, tmp_path):
    piece, stop = piece_for(step), stop_at(step, when)
    arrays, facts = held(piece)
    with pytest.raises(Cancelled):
        run_step(made(step, tmp_path), piece, Progress(stop))
    assert len(stop.words) == stop.at + 1
    now, told = held(piece)
    assert told == facts
    assert now.keys() == arrays.keys()
    for name, array in arrays.items():
        np.testing.assert_array_equal(now[name], array, err_msg=name, strict=True)
    assert everything_in(tmp_path) == {}


@pytest.mark.parametrize("step", STEPS)
def test_one_step_on_files_leaves_the_disk_as_it_was(step, tmp_path, monkeypatch, capsys):
    """With the output of an earlier run in the place of the new one, and in a folder that is not there yet."""
    write_out(tmp_path / "in.ply", Workpiece(), piece_for(step))
    write_out(tmp_path / "out.ply", Workpiece(), piece_for("check"))
    settings = [
        word
        for each in step_named(step).settings()
        for value in [settings_for(step, tmp_path).get(each.name)]
        if value is not None
        for word in (each.flag, str(value))
    ]
    before = everything_in(tmp_path)
    for goal in (tmp_path / "out.ply", tmp_path / "new" / "folder" / "out.ply"):
        stop = stop_at(step, "middle")
        monkeypatch.setattr(command, "progress_on", lambda _stream, stop=stop: Progress(stop))
        assert main([step, str(tmp_path / "in.ply"), "-o", str(goal), "--overwrite", *settings]) == STOPPED
        assert len(stop.words) == stop.at + 1
        assert everything_in(tmp_path) == before
    assert capsys.readouterr().err == f"canthus {step}: stopped, nothing written\n" * 2


@pytest.mark.parametrize("step", CHAIN)
def test_the_whole_job_leaves_the_disk_as_it_was(step, tmp_path, monkeypatch):
    """The steps before the one that is cancelled do not work again: it is given what it gets on its own."""
    stop, piece = stop_at(step, "middle"), piece_for(step)

    def brought(each, given, progress):
        if step == each.NAME:
            return run_step(each, piece, progress)
        progress(0.0, each.NAME)
        return given

    monkeypatch.setattr(run, "run_step", brought)
    scans = (tmp_path / "front.ply", tmp_path / "side.ply")  # two, so that `register` is among the steps
    for scan in scans:
        write(scan, piece_for("load").scan)
    before = everything_in(tmp_path)
    settings = {step: settings_for(step, tmp_path)}
    with pytest.raises(Cancelled):
        make(Order(scans, tmp_path / "out", settings=settings), Progress(stop))
    assert len(stop.words) == stop.at + 1
    assert everything_in(tmp_path) == before


def test_what_lies_in_the_folder_of_the_whole_job_is_kept(tmp_path):
    """An earlier run, which `--overwrite` says may be replaced, is not before the new one is whole."""
    scan, out = tmp_path / "scan.ply", tmp_path / "out"
    write(scan, piece_for("load").scan)
    quick = {"close": settings_for("close", tmp_path)}
    skipped = tuple(name for name in CHAIN if name not in ("load", "close", "scale", "check"))
    make(Order((scan,), out, settings=quick, skipped=skipped))
    (out / "my notes.txt").write_text("mine")
    before = everything_in(tmp_path)
    assert (out / "parts" / "head.stl").relative_to(tmp_path) in before
    with pytest.raises(Cancelled):
        make(Order((scan,), out, settings=quick, skipped=skipped, overwrite=True), Progress(Stop("check", 0)))
    assert everything_in(tmp_path) == before
