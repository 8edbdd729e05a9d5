"""Lids where the scan shows none: carved in stone, behind spectacles, on a face without a back."""

import dataclasses

import numpy as np
import pytest
from canthus.anatomy.sockets.eye_entry import entry_length
from canthus.geometry.errors import NotPossible
from canthus.geometry.measures import is_watertight
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.booleans import union
from canthus.geometry.solids.primitives import box
from canthus.steps.eyes.carve_sockets import CarveSockets
from canthus.steps.eyes.each_eye import pocket_of
from canthus.steps.eyes.make_eyes import MakeEyes
from canthus.steps.eyes.place_eyes import PlaceEyes
from canthus.steps.eyes.rebuild_lids import RebuildLids

CENTRES = {"left_centre": (32 / 6, 0.0, 0.0), "right_centre": (-32 / 6, 0.0, 0.0)}


@pytest.fixture(scope="module")
def carved(small_face, lid_edges):
    """The face as a sculptor in stone leaves it: between the lids a hollow, 5 mm under the eyes that would be there."""
    head = small_face.head
    vertices = head.vertices.copy()
    x, z = 6 * vertices[:, 0], 6 * vertices[:, 2]
    upper, lower, along = lid_edges(np.abs(x) - 32.0)
    between = (z < upper) & (z > lower) & (along > 0) & (along < 1) & (vertices[:, 1] < 0)
    vertices[between, 1] += 5.0 / 6
    stone = dataclasses.replace(small_face, head=Mesh(vertices, head.triangles), scan=None)
    return one_eyed(PlaceEyes(**CENTRES).apply(stone))


def one_eyed(piece):
    """The piece with its left eye only: half the work tells as much."""
    return piece.but(eyes=piece.eyes[:1])


def sized(made, side):
    return [made.figures[f"{side}_fissure_{size}_mm_life"] for size in ("length", "height")]


def test_sure_landmarks_tell_length_and_height_and_the_eye_goes_in(carved):
    """The block's fissures are 27.1 by 9.7 mm; what is stone between the lids counts for nothing."""
    made = RebuildLids().apply(carved)
    assert any("the scan shows no eye there" in note for note in made.notes)
    assert sized(made, "left") == pytest.approx([27.1, 9.7], abs=0.6)
    eyed = MakeEyes().apply(CarveSockets().apply(made))
    assert len(eyed.eyes) == 1
    assert is_watertight(eyed.head)
    assert eyed.figures["left_least_gap_mm"] > 0.05


def test_weak_landmarks_that_say_what_few_eyes_have_give_way_to_published_sizes(carved):
    """27.1 by 9.7 mm: 76 young adults (Read et al. 2006)."""
    marks = dict(carved.landmarks)
    for name, (across, up) in {"exocanthion-left": (6.0, 0.0), "palpebrale-inferius-left": (0.0, -5.0)}.items():
        x, y, z = marks[name].position
        marks[name] = dataclasses.replace(marks[name], position=(x + across / 6, y, z + up / 6), confidence=0.3)
    made = RebuildLids().apply(carved.but(landmarks=marks))
    assert any("27.1 mm long from what most adults have, 9.7 mm high from what most" in note for note in made.notes)
    assert sized(made, "left") == pytest.approx([27.1, 9.7], abs=0.6)


def test_one_setting_says_that_margins_are_to_be_of_published_sizes(carved):
    marks = dict(carved.landmarks)
    x, y, z = marks["palpebrale-superius-left"].position
    marks["palpebrale-superius-left"] = dataclasses.replace(marks["palpebrale-superius-left"], position=(x, y, z - 0.4))
    made = RebuildLids(found="published").apply(carved.but(landmarks=marks))
    assert sized(made, "left") == pytest.approx([27.1, 9.7], abs=0.6)


def test_where_no_seam_runs_round_the_lids_are_set_in_as_a_plug(small_face):
    """A wire bow fused to the skin within the join and beyond it, as spectacles are in a scan, is a handle."""
    low, high = (44.0, -12.5, -0.5), (58.0, -11.5, 0.5)
    posts = [((x, -12.5, -0.5), (x + 1.0, -1.0, 0.5)) for x in (low[0], high[0] - 1.0)]
    wire = [box(*(tuple(np.array(corner) / 6) for corner in ends)) for ends in ((low, high), *posts)]
    barred = dataclasses.replace(small_face, head=union(small_face.head, *wire), scan=None)
    made = RebuildLids().apply(one_eyed(PlaceEyes(**CENTRES).apply(barred)))
    assert any("set in as a plug" in note for note in made.notes)
    assert is_watertight(made.head)
    assert len(CarveSockets().apply(made).eyes) == 1


def test_a_face_without_a_back_gets_sockets_that_open_behind(small_face):
    """Its back lies 14 mm behind the globes' middles, where the bore of an eye from behind comes out."""
    head = small_face.head
    vertices = head.vertices.copy()
    vertices[vertices[:, 1] > 40 / 6, 1] = 14 / 6
    thin = dataclasses.replace(small_face, head=Mesh(vertices, head.triangles))
    made = CarveSockets().apply(RebuildLids().apply(one_eyed(PlaceEyes(**CENTRES).apply(thin))))
    assert len(made.eyes) == 1
    assert is_watertight(made.head)
    # Its bore is a way in although no hollow lies behind it; in the whole block, 45 mm deep, it is none.
    pocket, aside = pocket_of(made.eyes[0]), box((8.0, 0.0, -1.0), (9.0, 1.0, 1.0))
    assert entry_length(pocket, aside, thin.head, "left") == pocket.length
    with pytest.raises(NotPossible, match="no hollow behind"):
        entry_length(pocket, aside, head, "left")
