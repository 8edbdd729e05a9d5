"""Brows found on a demo head, which knows where they were painted; proposed by landmarks; strokes as they were set."""

import json
from dataclasses import replace

import numpy as np
import pytest
from canthus.anatomy.hair.brow_files import brows_text, read_brows
from canthus.anatomy.hair.brow_raising import around, looked_for
from canthus.anatomy.hair.brow_strokes import BrowHair, strokes
from canthus.geometry.curves import depth_inside
from canthus.geometry.errors import BadFile, NotPossible, NotReady
from demo_heads import demo_head

BROW = 3  # the demo head's paint
HAIR = BrowHair(width=0.6, height=0.7, length=9.0, density=55.0, taper=0.4, least=0.6)


@pytest.fixture(scope="module")
def head():
    return demo_head(0)


def marks_of(head):
    return {name: np.asarray(place) for name, place in head.truth.landmarks.items()}


def light(mesh):
    return mesh, mesh.colours @ np.array([0.2126, 0.7152, 0.0722])


def on_face(head, guide, beyond):
    """Share of the brow's paint within the guide, and how much bare skin is, against it; each but for `beyond` mm."""
    patch = around(head.mesh, guide)
    side = np.sign(guide.upper[0, 0])
    face = (head.mesh.vertices[:, 1] < -55) & (head.mesh.vertices[:, 0] * side > 0)
    painted = face & (np.asarray(head.mesh.columns["region"]) == BROW)
    outline = np.concatenate([patch.flat(guide.upper), patch.flat(guide.lower)[::-1]])
    inside = depth_inside(patch.flat(head.mesh.vertices[painted]), outline)
    skin = patch.flat(head.mesh.vertices[face & ~painted])
    on_skin = depth_inside(skin, outline) > beyond
    return (inside > -beyond).mean(), on_skin.sum() / painted.sum()


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize(("source", "seen"), [("colour", 0.95), ("relief", 0.85)])
def test_they_are_found_where_they_were_painted_and_raised(head, side, source, seen):
    guide = looked_for(head.mesh, light(head.mesh), marks_of(head), side, source)
    assert guide.source == source
    within, astray = on_face(head, guide, 1.5)
    assert within > seen
    assert astray < 0.05
    assert abs(guide.upper[0, 0]) < abs(guide.upper[-1, 0])  # from the nose outwards


def test_a_face_without_brows_has_them_proposed_by_its_landmarks(head):
    """Ends as Ellenbogen 1983 has them (from memory): over the inner corner, and on the line from the nose's wing
    through the outer corner; highest at two thirds."""
    marks = marks_of(head)
    bare = replace(head.mesh, vertices=smooth(head.mesh), colours=np.full_like(head.mesh.colours, 180))
    for side, sign in (("left", 1), ("right", -1)):
        guide = looked_for(bare, light(bare), marks, side, "any")
        assert guide.source == "landmarks"
        middle = (guide.upper + guide.lower) / 2
        assert middle[0, 0] == pytest.approx(marks[f"endocanthion-{side}"][0], abs=0.5)
        assert 0.55 < np.argmax(middle[:, 2]) / (len(middle) - 1) < 0.75
        wing = np.array([marks[f"endocanthion-{side}"][0], marks["subnasale"][2] + 4.0])
        outer = marks[f"exocanthion-{side}"][[0, 2]]
        one, other = outer - wing, middle[-1, [0, 2]] - wing
        off = abs(one[0] * other[1] - one[1] * other[0]) / np.linalg.norm(one)
        assert off < 1.0
        assert sign * np.diff(middle[:, 0]).min() > 0 or sign * np.diff(middle[:, 0]).max() > 0
        with pytest.raises(NotPossible, match=f"colour shows no {side} brow"):
            looked_for(bare, light(bare), marks, side, "colour")
    with pytest.raises(NotReady, match="exocanthion-left"):
        looked_for(bare, None, {k: v for k, v in marks.items() if k != "exocanthion-left"}, "left", "any")


def smooth(mesh):
    """The vertices without anything finer than a centimetre where the brows are."""
    from canthus.geometry.mending.smoothing import averaging

    mean, vertices = averaging(mesh), mesh.vertices.copy()
    near = (vertices[:, 1] < -50) & (vertices[:, 2] > 20) & (vertices[:, 2] < 60)
    for _ in range(80):
        vertices[near] = (mean @ vertices)[near]
    return vertices


@pytest.fixture(scope="module")
def laid(head):
    guide = looked_for(head.mesh, light(head.mesh), marks_of(head), "left", "colour")
    patch = around(head.mesh, guide)
    return guide, patch, strokes(guide, patch, HAIR, 1)


def test_strokes_are_as_wide_as_prints_and_another_seed_lays_others(laid):
    guide, patch, ridges = laid
    assert min(each.half_width.min() for each in ridges) * 2 >= 0.6 - 1e-12
    widest = np.array([2 * each.half_width.max() for each in ridges])
    assert widest.std() / widest.mean() > 0.1  # no comb: they differ
    again, other = strokes(guide, patch, HAIR, 1), strokes(guide, patch, HAIR, 2)
    assert all(np.array_equal(one.places, two.places) for one, two in zip(ridges, again, strict=True))
    assert not np.array_equal(ridges[0].places, other[0].places)


def test_hair_stands_up_at_the_head_and_meets_along_the_ridge(laid):
    """As hair lies in a brow (texts on brow transplantation, from memory): upright at the head; in the body outwards,
    lower rows rising and upper ones falling; thinner towards the tail."""
    guide, patch, ridges = laid
    outline = np.concatenate([patch.flat(guide.lower), patch.flat(guide.upper)])
    first, last = outline[:, 0].min(), outline[:, 0].max()
    lines = [patch.flat(each.places) for each in ridges]
    roots = np.array([line[0] for line in lines])
    ways = np.array([line[4] - line[0] for line in lines])  # the first millimetre, before it bends
    rise = np.degrees(np.arctan2(ways[:, 1], ways[:, 0]))
    along = (roots[:, 0] - first) / (last - first)
    low = np.interp(roots[:, 0], *patch.flat(guide.lower).T)
    high = np.interp(roots[:, 0], *patch.flat(guide.upper).T)
    over = (roots[:, 1] - low) / (high - low)
    slope = np.degrees(np.arctan(np.gradient((patch.flat(guide.lower)[:, 1] + patch.flat(guide.upper)[:, 1]) / 2,
                                             patch.flat(guide.lower)[:, 0])))  # fmt: skip
    rise -= np.interp(roots[:, 0], patch.flat(guide.lower)[:, 0], slope)
    assert np.median(rise[along < 0.08]) > 40
    body = (along > 0.45) & (along < 0.8)
    assert (np.abs(rise[body]) < 60).all()
    assert np.median(rise[body & (over < 0.35)]) > np.median(rise[body & (over > 0.65)]) + 15
    assert ways[body, 0].min() > 0
    ends = np.array([line[-1, 1] - line[0, 1] for line in lines])
    assert np.median(ends[body & (over < 0.35)]) > np.median(ends[body & (over > 0.65)]) + 1.0
    thick = [((along > a) & (along < a + 0.2)).sum() for a in (0.3, 0.8)]
    assert thick[1] < thick[0]


def test_as_many_stand_as_the_density_asks(laid):
    """In the middle of the brow, where it is thickest: counted on its area, within a fifth."""
    guide, patch, _ = laid
    outline = np.concatenate([patch.flat(guide.upper), patch.flat(guide.lower)[::-1]])
    first, last = outline[:, 0].min(), outline[:, 0].max()
    across = np.linspace(first + 0.25 * (last - first), first + 0.5 * (last - first), 50)
    breadth = np.interp(across, *patch.flat(guide.upper).T) - np.interp(across, *patch.flat(guide.lower).T)
    area = breadth.mean() * np.ptp(across) / 100
    counts = []
    for seed in range(6):
        roots = np.array([patch.flat(each.places[:1])[0] for each in strokes(guide, patch, HAIR, seed)])
        counts.append(((roots[:, 0] > across[0]) & (roots[:, 0] < across[-1])).sum() / area)
    assert np.mean(counts) == pytest.approx(HAIR.density, rel=0.2)


def test_edges_that_enclose_nothing_or_stand_on_their_head_are_refused(laid):
    guide, patch, _ = laid
    with pytest.raises(NotPossible, match="upper one lies under the lower"):
        strokes(replace(guide, upper=guide.lower, lower=guide.upper), patch, HAIR, 1)


@pytest.mark.parametrize("ending", [".csv", ".json"])
def test_curves_come_back_from_their_file(tmp_path, laid, ending):
    guide, _, _ = laid
    file = tmp_path / f"brows{ending}"
    file.write_text(brows_text({"left": (guide.upper, guide.lower)}, ending))
    upper, lower = read_brows(file)["left"]
    np.testing.assert_allclose(upper, guide.upper, rtol=1e-7)
    np.testing.assert_allclose(lower, guide.lower, rtol=1e-7)


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("a.csv", "side,edge,x,y\nleft,upper,1,2\n", "no column z"),
        ("a.csv", "side,edge,x,y,z\nleft,middle,1,2,3\n", "line 2: 'left', 'middle'"),
        ("a.csv", "side,edge,x,y,z\nleft,upper,1,2,far\n", "line 2: x, y and z must be three numbers"),
        ("a.csv", "side,edge,x,y,z\n" + "left,upper,1,2,3\n" * 3, "lower edge has 0 points"),
        ("a.csv", "side,edge,x,y,z\n", "holds no brow"),
        ("a.json", json.dumps({"left": [1, 2]}), "an object with upper and lower"),
        ("a.json", json.dumps({"left": {"upper": [[1, 2]], "lower": []}}), "left.upper, point 1"),
        ("a.json", "{", "line 1"),
        ("a.txt", "", "not .txt"),
    ],
)
def test_faulty_curves_are_named_with_their_place(tmp_path, name, text, said):
    (tmp_path / name).write_text(text)
    with pytest.raises(BadFile, match=said):
        read_brows(tmp_path / name)
