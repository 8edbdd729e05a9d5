"""The hair of one demo head refitted to another's bare scalp, and keyed; bad input is said in one line."""

import json

import numpy as np
import pytest
from canthus.anatomy.face.landmark_files import landmarks_text
from canthus.files.reading import read
from canthus.files.writing import write
from canthus.geometry.cloud import Cloud
from canthus.geometry.errors import BadFile, BadSetting, NotReady
from canthus.geometry.measures import components, is_watertight, volume
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.booleans import intersection
from canthus.geometry.solids.primitives import sphere
from canthus.job.command import main
from canthus.steps.detail.fit_hair import FitHair, scalp_of
from canthus.steps.output.key import Key
from canthus.steps.workpiece import Done, Landmark, Workpiece
from demo_heads import any_pose, demo_hair, demo_head
from scipy.spatial import cKDTree
from small_pieces import bust, hair_cap

GRID, OLD, SCALE = 3.2, 7, 1 / 6
GAP, TOLERANCE = 0.05, 0.02


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """The old head, its hair and its landmarks as files, in metres, anywhere."""
    folder = tmp_path_factory.mktemp("hair")
    away = np.diag([0.001, 0.001, 0.001, 1.0]) @ any_pose(4)
    head = demo_head(OLD, GRID, haired=False)
    write(folder / "head.ply", head.mesh.moved(away))
    write(folder / "hair.ply", demo_hair(OLD, GRID).moved(away))
    marks = {name: (*(away[:3, :3] @ at + away[:3, 3]).tolist(), 1.0) for name, at in head.truth.landmarks.items()}
    (folder / "marks.json").write_text(landmarks_text(marks, ".json"))
    return {"hair": str(folder / "hair.ply"), "old_head": str(folder / "head.ply")}, str(folder / "marks.json")


@pytest.fixture(scope="module")
def piece():
    head = demo_head(0, GRID, haired=False)
    marks = {name: Landmark(tuple(place.tolist())) for name, place in head.truth.landmarks.items()}
    whole = Workpiece("sitter", head=head.mesh, skin=head.mesh, landmarks=marks)
    return whole.moved(np.diag([SCALE] * 3 + [1.0])).but(scale=SCALE)


@pytest.fixture(scope="module")
def fitted(files, piece):
    return FitHair(**files[0], old_landmarks=files[1]).apply(piece)


def distances(points, mesh):
    """From each point to the nearest triangle about it, worked out by trimesh (Ericson 2005, section 5.1.5)."""
    from trimesh.triangles import closest_point

    near = cKDTree(mesh.corners.mean(axis=1)).query(points, 40)[1]
    corners = mesh.corners[near.ravel()]
    places = closest_point(corners, np.repeat(points, 40, axis=0)).reshape(len(points), 40, 3)
    return np.linalg.norm(places - points[:, None], axis=2).min(axis=1)


def test_no_gap_and_no_overlap_beyond_what_was_set(fitted):
    """Issue 6. By another library: nothing is nearer to the head than the gap, and the inner side is all at it."""
    hair, head = fitted.parts["hair"], fitted.head
    inner = distances(hair.vertices[::7], head)
    assert inner.min() > GAP - TOLERANCE
    at_gap = np.abs(inner - GAP) < TOLERANCE
    assert at_gap.mean() == pytest.approx(fitted.figures["under_side_percent"] / 100, abs=0.03)
    assert at_gap.mean() > 0.35  # the inner side of a shell, less its rim
    assert fitted.figures["gap_least_mm"] > GAP - 1.01 * TOLERANCE
    assert fitted.figures["gap_greatest_mm"] < GAP + 1.01 * TOLERANCE
    assert fitted.figures["lowest_mm"] > GAP - 1.01 * TOLERANCE
    assert volume(intersection(hair, head)) == 0.0


def test_strands_are_as_before_and_so_is_the_mesh(fitted, files):
    assert is_watertight(fitted.parts["hair"])
    assert components(fitted.parts["hair"]).max() == 0
    assert fitted.figures["crossing_faces"] == 0
    assert fitted.figures["strand_length_most_percent"] < 8.0
    assert fitted.figures["size_ratio"] == pytest.approx(1.014, abs=0.03)  # by the landmarks of both, in build
    assert fitted.figures["hair_file"] == "m at life size"
    given = read(files[0]["hair"]).colours
    assert (fitted.parts["hair"].colours[: len(given)] == given).all()
    assert fitted.notes == ()


def test_key_takes_it(fitted):
    keyed = Key(part="hair", normal=(0, 0.5, 0.85), trim=False).apply(fitted)
    assert set(keyed.all_parts()) == {"head", "hair"}
    assert all(is_watertight(part) and components(part).max() == 0 for part in keyed.all_parts().values())
    assert volume(intersection(keyed.head, keyed.parts["hair"])) == pytest.approx(0.0, abs=1e-6)
    assert volume(keyed.parts["hair"]) > volume(fitted.parts["hair"])  # the pins


def test_the_part_that_is_there_is_laid_anew(fitted):
    """Another gap without naming the file: it goes deeper by the difference."""
    again = FitHair(gap=-0.1, tolerance=0.03).apply(fitted)
    assert again.figures["gap_median_mm"] == pytest.approx(-0.1, abs=0.01)
    assert again.figures["lowest_mm"] > -0.131
    assert again.figures["moved_median_mm"] < 0.2


def test_from_the_command_line_by_its_form(files, piece, tmp_path, capsys):
    """The head alone at life size: no landmarks, no old head; the result lies beside it as hair's own file."""
    write(tmp_path / "head.ply", demo_head(0, GRID, haired=False).mesh)
    words = ["fit-hair", str(tmp_path / "head.ply"), "-o", str(tmp_path / "out.ply"), "--hair", files[0]["hair"]]
    assert main([*words, "--gap", "-0.3", "--tolerance", "0.15", "--json"]) == 0
    figures = json.loads(capsys.readouterr().out)
    assert "form of its inner side" in json.dumps(figures)
    found = read(tmp_path / "out.hair.ply")
    assert is_watertight(found)
    assert found.colours is not None


def test_loose_locks_become_one_part_and_noise_goes():
    """A cap and a ball 0.25 mm off it, noise of 0.2 mm of life on both: one part at the gap, told in plain words."""
    rng, cap = np.random.default_rng(4), hair_cap()
    top = cap.vertices[cap.vertices[:, 2].argmax()]
    lock = sphere(2.0, top + np.array([0, 0, 2.25]), sag=0.02)
    both = Mesh(
        np.vstack([cap.vertices, lock.vertices]) + rng.normal(0, 0.2 / 6, (len(cap.vertices) + len(lock.vertices), 3)),
        np.vstack([cap.triangles, lock.triangles + len(cap.vertices)]),
    )
    piece = bust().but(parts={"hair": both})
    apart = FitHair(tolerance=0.05).apply(piece)
    assert apart.figures["hair_pieces"] == 2
    assert any("is of 2 pieces: give join" in note for note in apart.notes)
    done = FitHair(tolerance=0.05, join=3.0, bridge=0.8, smooth=3).apply(piece)
    assert components(done.parts["hair"]).max() == 0
    assert is_watertight(done.parts["hair"])
    assert done.figures["bridges"] == 1
    assert done.figures["noise_after_mm"] < 0.5 * done.figures["noise_before_mm"]
    assert done.figures["lowest_mm"] > GAP - 0.0505
    told = " ".join(done.notes)
    assert "2 pieces of hair became one part: 1 bridge 0.80 mm thick" in told
    assert "noise went from" in told
    far = FitHair(tolerance=0.05, join=0.5).apply(piece)
    assert any("1 piece of hair up to" in note and "stay loose" in note for note in far.notes)


def test_a_sheet_of_two_islands_becomes_one_thick_part():
    """The cap's outer side and a disc beside it, both sheets, from the command line's own words."""
    cap = hair_cap()
    outer = cap.kept(np.linalg.norm(cap.corners.mean(axis=1) * [6 / 80, 6 / 98, 6 / 118], axis=1) > 0.985)
    disc = outer.kept(outer.corners[:, :, 2].min(axis=1) > 17.0)
    disc = Mesh(disc.vertices + np.array([0, 0, 2.2]), disc.triangles)
    both = Mesh(
        np.vstack([outer.vertices, disc.vertices]), np.vstack([outer.triangles, disc.triangles + len(outer.vertices)])
    )
    thin = FitHair(tolerance=0.05, join=8.0).apply(bust().but(parts={"hair": both}))
    assert any("sheet of 2 pieces: join makes one part of them once thicken" in note for note in thin.notes)
    done = FitHair(tolerance=0.05, thicken=1.2, join=8.0).apply(bust().but(parts={"hair": both}))
    assert is_watertight(done.parts["hair"])
    assert components(done.parts["hair"]).max() == 0
    assert done.figures["bridges"] > 0
    assert done.figures["lowest_mm"] > GAP - 0.0505


def test_what_is_wrong_is_said(files, piece, tmp_path):
    with pytest.raises(NotReady, match="run close first"):
        FitHair(**files[0]).apply(Workpiece())
    with pytest.raises(BadSetting, match="no hair was named"):
        FitHair().apply(piece)
    with pytest.raises(BadFile, match="no such file"):
        FitHair(hair=str(tmp_path / "none.ply")).apply(piece)
    write(tmp_path / "cloud.ply", Cloud(np.random.default_rng(1).normal(size=(50, 3))))
    with pytest.raises(BadFile, match="hair is a mesh, not a cloud"):
        FitHair(hair=str(tmp_path / "cloud.ply")).apply(piece)
    with pytest.raises(NotReady, match="0 landmarks are sure on both heads"):
        FitHair(hair=files[0]["hair"], start="landmarks").apply(piece)
    with pytest.raises(BadSetting, match="hair in cm would be"):
        FitHair(**files[0], old_landmarks=files[1], hair_units="cm").apply(piece)
    with pytest.raises(BadSetting, match="runs from"):
        FitHair(gap=9.0)


def test_a_parted_heads_scalp_is_what_it_was_before(piece):
    """After key the head has holes: hair is then laid on the skin the head had."""
    parted = piece.but(head=demo_hair(OLD, GRID), history=(Done("key", {}),))
    assert scalp_of(parted) is piece.skin
    assert scalp_of(piece.but(skin=None)) is piece.head
