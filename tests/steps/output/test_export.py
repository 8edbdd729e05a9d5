"""The export step writes all of it or nothing."""

import numpy as np
import pytest
from canthus.files.reading import read
from canthus.geometry.errors import BadFile, BadMesh, BadSetting, NotReady
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import icosphere
from canthus.steps.output.export import Export
from canthus.steps.workpiece import Workpiece

BALL = icosphere(2, 12.0)
COLOURED = Mesh(BALL.vertices, BALL.triangles, np.full((len(BALL.vertices), 3), (200, 150, 120), np.uint8))
PIECE = Workpiece(name="bust", head=COLOURED, parts={"eye-left": icosphere(1, 2.0)})


def test_every_part_in_every_format(tmp_path):
    done = Export(folder=str(tmp_path / "new" / "parts")).apply(PIECE)
    folder = tmp_path / "new" / "parts"
    names = sorted(each.name for each in folder.iterdir())
    assert names == ["bust.3mf", "eye-left.ply", "eye-left.stl", "head.ply", "head.stl"] == done.figures["files"]
    assert (read(folder / "head.ply").colours == (200, 150, 120)).all()
    assert (folder / "head.stl").stat().st_size == 84 + 50 * len(BALL.triangles)


def test_what_is_there_stays_unless_asked(tmp_path):
    Export(folder=str(tmp_path), package=False).apply(PIECE)
    (tmp_path / "head.stl").write_text("precious")
    with pytest.raises(BadFile, match="is there already"):
        Export(folder=str(tmp_path)).apply(PIECE)
    assert (tmp_path / "head.stl").read_text() == "precious"
    assert not (tmp_path / "bust.3mf").exists()
    Export(folder=str(tmp_path), overwrite=True).apply(PIECE)
    assert len(read(tmp_path / "head.stl").triangles) == len(BALL.triangles)


def test_an_open_part_stops_all_and_leaves_no_folder(tmp_path):
    with pytest.raises(BadMesh, match="part head is not a closed surface"):
        Export(folder=str(tmp_path / "a" / "b")).apply(PIECE.but(head=BALL.kept(np.arange(10, 320))))
    assert list(tmp_path.iterdir()) == []


def test_a_gauge_goes_along_when_asked_for(tmp_path):
    done = Export(folder=str(tmp_path), gauge=True, package=False, colours=False).apply(PIECE)
    assert done.figures["files"] == ["eye-left.stl", "gauge-peg.stl", "gauge-plate.stl", "head.stl"]
    assert set(done.all_parts()) == {"head", "eye-left"}


def test_what_is_lacking_is_said(tmp_path):
    with pytest.raises(BadSetting, match="name the folder"):
        Export().apply(PIECE)
    with pytest.raises(BadSetting, match="nothing to write"):
        Export(folder=str(tmp_path), stl=False, package=False, colours=False).apply(PIECE)
    with pytest.raises(NotReady, match="no part yet"):
        Export(folder=str(tmp_path)).apply(Workpiece())
    (tmp_path / "file").write_text("")
    with pytest.raises(BadFile, match="no folder can be made there"):
        Export(folder=str(tmp_path / "file" / "parts")).apply(PIECE)
