"""Files that are wrong in one way each, and the one line each of them gets (`tests/broken_files.py` has them).

Every case goes through `read`, and through the command line, which must end with status 2 and that one line.
"""

import zipfile
from pathlib import Path

import numpy as np
import pytest
from broken_files import BALL_PLY, BINARY_POINTS, CASES, TRIANGLE, binary, package, written
from canthus.files.reading import read
from canthus.geometry.errors import BadFile


@pytest.fixture(params=CASES)
def broken(request, tmp_path):
    """A broken file and the words that must be said of it."""
    content, words = CASES[request.param]
    path = tmp_path / request.param
    if content is None:
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr("notes.txt", "nothing")
    else:
        path.write_bytes(content)
    return path, words


def test_the_one_line(broken):
    path, words = broken
    with pytest.raises(BadFile) as caught:
        read(path)
    line = str(caught.value)
    assert line.startswith(f"{path}: ")
    assert words in line
    assert "\n" not in line
    assert line.isprintable()


def test_the_command_line_ends_with_status_2_and_that_line(broken, capsys):
    from canthus.job.command import main

    path, words = broken
    assert main(["load", str(path)]) == 2
    said = capsys.readouterr()
    assert words in said.err
    assert said.err.count("\n") == 1
    assert "Traceback" not in said.err


def test_a_folder_and_a_file_that_is_not_there(tmp_path):
    (tmp_path / "folder.ply").mkdir()
    with pytest.raises(BadFile, match=r"folder\.ply: is a folder"):
        read(tmp_path / "folder.ply")
    with pytest.raises(BadFile, match=r"absent\.ply: there is no such file"):
        read(tmp_path / "absent.ply")


def test_a_file_that_may_not_be_read(tmp_path, monkeypatch):
    (tmp_path / "locked.ply").write_bytes(BALL_PLY)

    def refused(_path):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "read_bytes", refused)
    with pytest.raises(BadFile, match="may not be read: permission denied"):
        read(tmp_path / "locked.ply")


def test_a_part_that_would_unpack_to_too_much(tmp_path, monkeypatch):
    monkeypatch.setattr("canthus.files.threemf_reading.LARGEST", 1000)
    (tmp_path / "bomb.3mf").write_bytes(package(b" " * 100_000))
    with pytest.raises(BadFile, match="would unpack to 100,000 bytes, more than 1,000"):
        read(tmp_path / "bomb.3mf")


def test_the_sound_files_these_were_made_from_are_read(tmp_path):
    for suffix in (".ply", ".stl", ".obj", ".3mf"):
        (tmp_path / f"ball{suffix}").write_bytes(written(suffix))
        assert len(read(tmp_path / f"ball{suffix}").triangles) == 80
    (tmp_path / "one.ply").write_bytes(binary(BINARY_POINTS + TRIANGLE))
    assert len(read(tmp_path / "one.ply").triangles) == 1


@pytest.mark.parametrize("suffix", [".ply", ".stl", ".3mf", ".obj"])
def test_damage_anywhere_is_an_error_of_ours_or_none(tmp_path, suffix):
    """Bytes changed at random: whatever comes of it, it is a reading or one line."""
    rng = np.random.default_rng(0)
    data, lines = written(suffix), []
    for _ in range(60):
        damaged = bytearray(data)
        for place in rng.integers(0, len(data), 5):
            damaged[place] = rng.integers(0, 256)
        cut = bytes(damaged[: rng.integers(1, len(data))] if rng.random() < 0.5 else damaged)
        (tmp_path / f"a{suffix}").write_bytes(cut)
        try:
            read(tmp_path / f"a{suffix}")
        except BadFile as fault:
            lines.append(str(fault))
    assert lines
    assert not any("\n" in line for line in lines)
