"""Results appear whole or not at all, in folders of every kind a person may name."""

import sys
from pathlib import Path

import pytest
from canthus.geometry.errors import BadFile
from canthus.job.staging import staged


def fill(folder):
    with staged(folder) as waiting:
        (waiting / "head.stl").write_text("new")
        (waiting / "parts").mkdir()
        (waiting / "parts" / "eye.stl").write_text("new")


def fill_in_vain(folder):
    with staged(folder) as waiting:
        (waiting / "head.stl").write_text("newer")
        waiting.write_text("no file")


def held(folder):
    return sorted(path.relative_to(folder).as_posix() for path in folder.rglob("*"))


@pytest.mark.parametrize("there", ["nothing", "folder", "results"])
def test_what_was_made_lies_in_the_folder_and_nothing_beside(tmp_path, there):
    folder = tmp_path / "a portrait"
    if there != "nothing":
        folder.mkdir()
    if there == "results":
        fill(folder)
        (folder / "parts" / "old.stl").write_text("old")
    fill(folder)
    assert held(folder) == ["head.stl", "parts", "parts/eye.stl"]
    assert held(tmp_path) == ["a portrait", *(f"a portrait/{name}" for name in held(folder))]


def test_nothing_is_made_above_a_folder_that_is_there(tmp_path):
    """A home lies in a folder one may not write to; a stick or a share is another disk than the folder it hangs in."""
    folder = tmp_path / "home"
    folder.mkdir()
    with staged(folder) as waiting:
        assert waiting.parent == folder
        assert list(tmp_path.iterdir()) == [folder]


@pytest.mark.skipif(sys.platform != "linux", reason="needs a disk in memory")
def test_a_folder_on_a_disk_of_its_own_takes_results():
    """/dev/shm hangs in /dev, on another disk: what is made beside it cannot be moved in."""
    shared = Path("/dev/shm")
    if not shared.is_dir():
        pytest.skip("this system has no /dev/shm")
    before = set(shared.iterdir())
    try:
        with staged(shared) as waiting:
            (waiting / "canthus-test-head.stl").write_text("new")
        assert (shared / "canthus-test-head.stl").read_text() == "new"
    finally:
        (shared / "canthus-test-head.stl").unlink(missing_ok=True)
    assert not {each for each in set(shared.iterdir()) - before if each.name.startswith(".canthus-")}


def test_a_fault_leaves_the_folder_as_it_was(tmp_path):
    fill(tmp_path)
    with pytest.raises(BadFile, match="cannot be written: Is a directory"):
        fill_in_vain(tmp_path)
    assert (tmp_path / "head.stl").read_text() == "new"
    assert held(tmp_path) == ["head.stl", "parts", "parts/eye.stl"]
