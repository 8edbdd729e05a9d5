import dataclasses
import json

import numpy as np
import pytest
from canthus.geometry.cloud import Cloud
from canthus.geometry.errors import BadFile
from canthus.geometry.solids.primitives import icosphere
from canthus.job import store
from canthus.job.plain import as_json, plain
from canthus.steps.workpiece import Check, Done, Eye, Landmark, Workpiece


@pytest.fixture
def piece():
    ball = icosphere(1, 1.0)
    points = ball.vertices
    cloud = Cloud(
        points, points, np.zeros((len(points), 3), np.uint8), {"view": np.zeros(len(points), np.int32)}, points
    )
    return Workpiece(
        name="Ünal",
        scan=cloud,
        head=dataclasses.replace(ball, columns={"trust": np.ones(len(points), np.float32)}),
        landmarks={"vertex": Landmark((0.1, 0.2, 0.3), 0.7, "file")},
        eyes=(Eye("left", (1, 2, 3), opening=np.eye(3)), Eye("right", (4, 5, 6), bore_length=2.0)),
        parts={"eye-left": ball},
        checks=(
            Check("wall", 1.0, float("inf"), "mm", True, (1.0, 2.0, 3.0)),
            Check("open edges", 0, 0, "", True, "head"),
        ),
        scale=1 / 6,
        shrinkage=0.02,
        units_in="cm",
        frame=np.diag([10.0, 10.0, 10.0, 1.0]),
        notes=("a", "b"),
        history=(Done("close", {"resolution": 0.5}, {"gap_mm": 0.25}, 1.5, 80.0),),
    )


def same_arrays(left, right):
    return left.keys() == right.keys() and all(
        np.array_equal(left[name], right[name]) and left[name].dtype == right[name].dtype for name in left
    )


def test_a_workpiece_comes_back_whole(piece, tmp_path):
    store.save(tmp_path / "piece.npz", piece)
    back = store.load(tmp_path / "piece.npz")
    arrays, facts = store.pack(piece)
    arrays_back, facts_back = store.pack(back)
    assert same_arrays(arrays, arrays_back)
    assert facts == facts_back
    assert back.shrinkage == 0.02
    assert back.eyes == piece.eyes
    assert back.landmarks == piece.landmarks
    assert back.checks == piece.checks


def test_a_workpiece_of_before_shrinkage_was_kept_has_none(piece):
    arrays, facts = store.pack(piece)
    del facts["shrinkage"]
    assert store.unpack(arrays, facts).shrinkage == 0.0


def test_facts_are_plain_json(piece):
    _, facts = store.pack(piece)
    assert json.loads(json.dumps(facts)) == facts


@pytest.mark.parametrize("content", [b"", b"no archive", b"PK\x03\x04 cut off"])
def test_what_is_no_workpiece_is_refused_by_name(content, tmp_path):
    path = tmp_path / "broken.npz"
    path.write_bytes(content)
    with pytest.raises(BadFile, match=r"broken\.npz: not a workpiece"):
        store.load(path)


def test_a_later_format_is_refused(piece):
    arrays, facts = store.pack(piece)
    with pytest.raises(BadFile, match="format 2"):
        store.unpack(arrays, {**facts, "format": 2})


def test_missing_facts_are_named(piece):
    arrays, facts = store.pack(piece)
    del facts["eyes"]
    with pytest.raises(BadFile, match="eyes"):
        store.unpack(arrays, facts)


def test_json_of_figures_is_read_by_any_reader():
    text = as_json({"a": np.float32(0.5), "b": float("nan"), "c": (1, np.arange(2)), "d": float("inf"), "e": np.True_})
    assert json.loads(text) == {"a": 0.5, "b": None, "c": [1, [0, 1]], "d": None, "e": True}


def test_a_figure_that_is_no_figure_is_refused():
    with pytest.raises(TypeError, match="object"):
        plain(object())
