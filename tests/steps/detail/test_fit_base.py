"""The base head fitted to demo heads, whose surface and landmarks are known, and to faulty input."""

import json

import numpy as np
import pytest
from canthus.anatomy.skin.base_head import own_base, regions_named
from canthus.anatomy.skin.region_names import REGIONS
from canthus.files.quads_obj import QuadsFile, read_quads, write_quads
from canthus.geometry.distances.closest import ClosestPoint
from canthus.geometry.errors import BadSetting, NotReady
from canthus.geometry.measures import is_watertight
from canthus.geometry.mending.intersections import self_intersections
from canthus.geometry.mesh import Mesh
from canthus.steps.detail.fit_base import FitBase
from canthus.steps.workpiece import Landmark, Workpiece
from demo_heads import any_pose, demo_head


def sitter(seed, gone=None):
    """A demo head as an open or whole scan with its landmarks."""
    head = demo_head(seed)
    marks = {name: Landmark(tuple(place.tolist())) for name, place in head.truth.landmarks.items()}
    scan = head.mesh if gone is None else head.mesh.kept(~gone(head.mesh.corners.mean(axis=1)))
    return head, Workpiece("sitter", scan=scan, landmarks=marks)


@pytest.fixture(scope="module")
def fitted():
    head, piece = sitter(3)
    piece = piece.moved(any_pose(2))
    return head, piece, FitBase(level=1).apply(piece)


def test_it_lies_on_the_scan_with_its_landmarks(fitted):
    """Issue 6: 0.15 mm RMS on seen skin, landmarks within 0.5 mm, 99 % of the faces of 20 degrees, none folded."""
    _, piece, done = fitted
    away = ClosestPoint(piece.scan).query(done.head.vertices)[0]
    region = done.head.columns["base_region"]
    skin = ~np.isin(region, [2, 5])  # eyes and ears apart
    assert np.sqrt((away[skin] ** 2).mean()) < 0.15
    for name, row in own_base().landmarks.items():
        if name != "vertex":
            assert np.linalg.norm(done.head.vertices[row] - piece.landmarks[name].position) < 0.5, name
    assert done.figures["faces_under_20_deg_percent"] < 1.0
    assert done.figures["folded_faces"] == 0
    assert not len(self_intersections(done.head))
    assert is_watertight(done.head)
    assert done.skin is done.head


def test_colours_come_along(fitted):
    _, _, done = fitted
    lips = done.head.columns["base_region"] == 3
    red = done.head.colours[lips].astype(float).mean(axis=0)
    skin = done.head.colours[done.head.columns["base_region"] == 0].astype(float).mean(axis=0)
    assert red[0] - red[1] > skin[0] - skin[1]


def test_the_scalp_where_nothing_was_seen():
    """Issue 6: with 30 % of the scalp missing the gap is filled within 3 mm of the truth."""
    middle = np.array([15.0, 10.0, 130.0])
    head, piece = sitter(5, gone=lambda places: np.linalg.norm(places - middle, axis=1) < 79)
    done = FitBase(level=0).apply(piece)
    inside = np.linalg.norm(done.head.vertices - middle, axis=1) < 78
    assert inside.sum() > 500
    assert ClosestPoint(head.mesh).query(done.head.vertices[inside])[0].max() < 3.0
    assert done.figures["seen_percent"] < 96


def test_an_ear_without_a_landmark_keeps_the_bases_shape():
    """A scan whose left ear lies 12 mm lower: its folds would be drawn to those that lie nearest, were it not left
    alone. Its edges keep their lengths but for the size of the whole, and it is said.
    """
    head, piece = sitter(5)
    tragion = np.asarray(head.truth.landmarks["tragion-left"])
    near = np.exp(-((np.linalg.norm(head.mesh.vertices - tragion - [10, 15, 0], axis=1) / 30.0) ** 4))
    scan = Mesh(head.mesh.vertices - near[:, None] * [0, 0, 12.0], head.mesh.triangles)
    marks = {name: mark for name, mark in piece.landmarks.items() if name != "tragion-left"}
    done = FitBase(level=0).apply(piece.but(scan=scan, landmarks=marks))
    assert any("left ear has no sure landmark" in note for note in done.notes)
    assert not any("right ear" in note for note in done.notes)
    base = own_base()
    ear = base.quads[(base.region == REGIONS.index("ears")) & (base.vertices[base.quads[:, 0], 0] > 0)]
    places = (base.vertices, done.head.vertices)
    before, after = (np.linalg.norm(at[ear] - at[np.roll(ear, -1, 1)], axis=2) for at in places)
    changed = np.abs(after / before / np.median(after / before) - 1)
    assert np.median(changed) < 0.04  # 0.087 where the ear is drawn
    assert (changed < 0.2).mean() > 0.87  # 0.78


def test_a_pair_at_odds_with_the_others_is_named():
    _, piece = sitter(5)
    marks = dict(piece.landmarks)
    marks["cheilion-left"], marks["cheilion-right"] = marks["cheilion-right"], marks["cheilion-left"]
    done = FitBase(level=0).apply(piece.but(landmarks=marks))
    assert any("cheilion-left is" in note for note in done.notes)
    assert not any("sellion" in note for note in done.notes)


def test_a_base_of_ones_own_by_its_landmarks_and_by_pairs(tmp_path):
    """Our own base written out, twice as large and without regions: it comes back onto the head all the same."""
    _, piece = sitter(5)
    base = own_base()
    with (tmp_path / "mine.obj").open("wb") as file:
        write_quads(file, QuadsFile(2 * base.vertices, base.quads))
    places = {name: (2 * place).tolist() for name, place in base.places().items()}
    (tmp_path / "mine.json").write_text(json.dumps(places))
    tip = places.pop("pronasale")
    mine = {"base": str(tmp_path / "mine.obj"), "base_landmarks": str(tmp_path / "mine.json"), "level": 0}
    by_hand = ",".join(map(str, tip)) + "=" + ",".join(map(str, piece.landmarks["pronasale"].position))
    done = FitBase(**mine, pairs=by_hand, save=str(tmp_path / "fitted.obj")).apply(piece)
    assert done.figures["rms_mm"] < 0.4
    assert len(read_quads(tmp_path / "fitted.obj").quads) == len(base.quads)
    assert "base_region" not in done.head.columns
    with pytest.raises(BadSetting, match="base_landmarks, or pairs"):
        FitBase(base=mine["base"]).apply(piece)
    with pytest.raises(BadSetting, match="x,y,z=x,y,z"):
        FitBase(pairs="1,2=3,4,5").apply(piece)


def test_the_quads_written_come_back_as_a_base_with_regions_and_the_scans_colours(tmp_path):
    """A texture of the scan's colours: seen where a landmark's vertex has its place in the picture, the colour is that
    of the scan there."""
    from PIL import Image

    _, piece = sitter(5)
    FitBase(level=0, save=str(tmp_path / "mine.obj"), texture=1024).apply(piece)
    found, base = read_quads(tmp_path / "mine.obj"), own_base()
    assert (found.groups == np.array(REGIONS)[base.region]).all()
    picture = np.asarray(Image.open(tmp_path / "mine.png").convert("RGB"), float)
    for name in ("pronasale", "stomion", "vertex"):
        row = base.landmarks[name]
        corner = np.argwhere(found.quads == row)[0]
        across, up = found.uv[found.uv_quads[tuple(corner)]]
        seen = picture[int((1 - up) * 1024), int(across * 1024)]
        nearest = np.linalg.norm(piece.scan.vertices - found.vertices[row], axis=1).argsort()[:9]
        assert np.abs(seen - piece.scan.colours[nearest].astype(float).mean(axis=0)).max() < 25, name
    assert (regions_named(found.groups) == base.region).all()
    assert regions_named(np.array(["body"])) is None


def test_what_is_missing_is_said():
    _, piece = sitter(5)
    with pytest.raises(NotReady, match="4 matching points"):
        FitBase().apply(piece.but(landmarks={}))
    with pytest.raises(NotReady, match="run close"):
        FitBase().apply(piece.but(scan=None))
