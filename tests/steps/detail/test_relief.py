"""Relief on a whole head: where it lies, how deep it is, what is said of it."""

import numpy as np
import pytest
from canthus.anatomy.skin.region_names import SKIN
from canthus.anatomy.skin.skin_regions import skin_regions
from canthus.files.png import write_png
from canthus.geometry.distances.closest import ClosestPoint
from canthus.geometry.errors import BadSetting, NotReady
from canthus.geometry.measures import is_watertight, triangle_areas
from canthus.geometry.mending.intersections import self_intersections
from canthus.steps.detail.relief import Relief
from demo_heads import demo_head
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree
from small_pieces import sitter


@pytest.fixture(scope="module")
def piece():
    return sitter("closed")


def test_regions_from_landmarks_alone_agree_with_the_demo_heads_paint(piece):
    """The demo head knows its own lips; the nose's tip, the chin and the forehead are where their landmarks are."""
    head = demo_head(0)
    marks = {name: np.asarray(place) for name, place in head.truth.landmarks.items()}
    region = skin_regions(head.mesh, marks)
    lips = np.asarray(head.mesh.columns["region"]) == 1
    assert (region[lips] == SKIN.index("lips")).mean() > 0.8
    for name, place in {
        "nose": marks["pronasale"],
        "forehead": marks["glabella"] + [0, 5, 22],
        "chin": marks["gnathion"] + [0, -8, 12],
        "neck": marks["gnathion"] + [0, 40, -35],
    }.items():
        nearest = np.argmin(np.linalg.norm(head.mesh.vertices - place, axis=1))
        assert SKIN[region[nearest]] == name


def test_it_is_as_deep_as_set_and_nowhere_crosses(piece):
    done = Relief(pores=0, lines=0.3, lips=0, edge=1.2, strength="neck=0, chin=0, face=0, orbit=0").apply(piece)
    away = ClosestPoint(piece.head).query(done.head.vertices)[0]
    assert away.max() == pytest.approx(0.3, rel=0.05)
    marks = {name: np.asarray(mark.position) for name, mark in piece.landmarks.items()}
    region = skin_regions(done.head, marks)
    deep = away > 0.05
    assert (region[deep] == SKIN.index("forehead")).mean() > 0.97  # the rest borders on it
    assert is_watertight(done.head)
    assert not len(self_intersections(done.head))
    assert done.figures["deepest_mm"] == pytest.approx(0.3, rel=0.05)


def test_pores_on_the_head_are_as_deep_wide_and_many_as_set(piece):
    """Issue 6: within 5 %, measured on the finished mesh: dents deeper than half, each told by being joined, by area.

    The forehead has 1.2 of the density set (Flament 2015: more there); what its soft edge cuts off is left out.
    """
    width, depth, density = 1.8, 0.3, 2.5
    only = ", ".join(f"{name}=0" for name in SKIN if name not in ("forehead", "eyes", "lids", "ears", "scalp"))
    set_ = {"pores": depth, "pore_width": width, "pore_density": density, "lines": 0, "lips": 0, "edge": 0.45}
    done = Relief(**set_, strength=only).apply(piece)
    head, marks = done.head, {name: np.asarray(mark.position) for name, mark in piece.landmarks.items()}
    away = ClosestPoint(piece.head).query(head.vertices)[0]
    region = skin_regions(head, marks) == SKIN.index("forehead")
    areas = triangle_areas(head)
    of_vertex = np.bincount(head.triangles.ravel(), np.repeat(areas / 3, 3), len(head.vertices))
    dent = np.flatnonzero(away > depth / 2)
    row = np.full(len(head.vertices), -1)
    row[dent] = np.arange(len(dent))
    ends = row[head.triangles[:, [0, 1, 1, 2, 2, 0]].reshape(-1, 2)]
    ends = ends[(ends >= 0).all(axis=1)]
    links = coo_array((np.ones(len(ends)), (ends[:, 0], ends[:, 1])), shape=(len(dent), len(dent)))
    count, label = connected_components(links, directed=False)
    deepest, spread = np.zeros(count), np.bincount(label, of_vertex[dent])
    np.maximum.at(deepest, label, away[dent])
    whole = deepest > 0.9 * depth
    assert whole.sum() > 50
    assert np.median(deepest[whole]) == pytest.approx(depth, rel=0.05)
    assert np.median(2 * np.sqrt(spread[whole] / np.pi)) == pytest.approx(width, rel=0.05)
    inner = region & (cKDTree(head.vertices[~region]).query(head.vertices)[0] > 4.0)
    share = np.bincount(label, inner[dent]) / np.bincount(label)  # of each dent within
    assert share.sum() / (of_vertex[inner].sum() / 100) == pytest.approx(1.2 * density, rel=0.05)


def test_an_image_lies_over_all_of_the_skin(piece, tmp_path):
    dots = np.where(np.indices((64, 64)).sum(axis=0) % 32 < 16, 65535, 0).astype(np.uint16)
    with (tmp_path / "dots.png").open("wb") as file:
        write_png(file, dots)
    done = Relief(image=str(tmp_path / "dots.png"), depth=0.25, tile=24.0, edge=2.0).apply(piece)
    assert ClosestPoint(piece.head).query(done.head.vertices)[0].max() == pytest.approx(0.25, rel=0.05)


def test_it_says_what_prints_and_where_the_mesh_is_too_coarse(piece):
    done = Relief(edge=3.0).apply(piece)
    told = " ".join(done.notes)
    assert "Two pixels of 0.05 mm stand for 0.60 mm of skin at 1:6" in told
    assert "Pores 0.25 mm wide are 0.042 mm on the print and will not show" in told
    assert "too coarse for pores" in told
    enlarged = " ".join(Relief(edge=3.0, true=False).apply(piece).notes)
    assert "Pores 0.60 mm wide are 0.100 mm on the print and can show" in enlarged


def test_bad_words_are_refused(piece):
    with pytest.raises(BadSetting, match="region=number"):
        Relief(strength="nostril=2").apply(piece)
    with pytest.raises(NotReady, match="run landmarks"):
        Relief().apply(piece.but(landmarks={}))
