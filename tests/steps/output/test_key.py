"""The key step: the skull cap comes off, and goes on one way only."""

import numpy as np
import pytest
from canthus.geometry.booleans import difference, intersection
from canthus.geometry.errors import BadSetting, NotPossible, NotReady
from canthus.geometry.measures import components, is_watertight, volume
from canthus.geometry.solids import sphere
from canthus.geometry.transforms import rotation, transform
from canthus.steps.output.key import Key
from canthus.steps.workpiece import Landmark, Workpiece


def egg(x, y, z, up):
    return sphere(1.0, sag=0.0015).moved(np.array([[x, 0, 0, 0], [0, y, 0, 0], [0, 0, z, up], [0, 0, 0, 1]], float))


# A sixth of ANSUR II male means, wall 2 (reference_values sections 2 and 5).
HEAD = difference(egg(12.9, 16.6, 19.3, 2.5), egg(10.9, 14.6, 17.3, 2.5))
MARKS = {
    name: Landmark(tuple(np.array(place) / 6))
    for name, place in {
        "vertex": (0, 10, 131),
        "glabella": (0, -97, 35),
        "subnasale": (0, -100, -31),
        "tragion-left": (75, 0, 0),
        "tragion-right": (-75, 0, 0),
    }.items()
}
PIECE = Workpiece(head=HEAD, scale=1 / 6, landmarks=MARKS)


@pytest.fixture(scope="module")
def keyed():
    return Key().apply(PIECE)


def test_head_and_cap_are_each_one_closed_part(keyed):
    assert set(keyed.all_parts()) == {"head", "skull-cap"}
    for part in keyed.all_parts().values():
        assert is_watertight(part)
        assert components(part).max() == 0
    assert keyed.notes == ()
    assert min(keyed.figures["collar_wall_mm"], keyed.figures["spigot_wall_mm"]) > 0.4


def test_it_goes_on_one_way_only(keyed):
    up, at = np.array(keyed.figures["cut_up"]), np.array(keyed.figures["cut_at_mm"])
    head, cap = keyed.head, keyed.parts["skull-cap"]
    for out in (0.0, 0.3, 1.0, 2.5):
        assert volume(intersection(head, cap.moved(transform(np.eye(3), out * up)))) == pytest.approx(0, abs=1e-9)
    for turn in (15, 90, 180):
        linear = rotation(up, np.radians(turn))
        assert volume(intersection(head, cap.moved(transform(linear, at - linear @ at)))) > 0.5


def test_any_plane(keyed):
    piece = Key(part="face-plate", origin=(0, 0, 8), normal=(0, 0, 1)).apply(PIECE)
    assert set(piece.parts) == {"face-plate"}
    assert piece.parts["face-plate"].vertices[:, 2].min() == pytest.approx(8.01, abs=0.01)


def test_a_parting_across_the_face_is_remarked_on():
    piece = Key(raise_by=-13.0).apply(PIECE)
    assert any("crosses the face" in note for note in piece.notes)


def test_what_cannot_be_done_is_said():
    with pytest.raises(NotReady, match="run close first"):
        Key().apply(Workpiece())
    with pytest.raises(BadSetting, match="origin and normal go together"):
        Key(origin=(0, 0, 8)).apply(PIECE)
    with pytest.raises(BadSetting, match="normal has no length"):
        Key(origin=(0, 0, 8), normal=(0, 0, 0)).apply(PIECE)
    with pytest.raises(NotPossible, match="misses the head"):
        Key(origin=(0, 0, 80), normal=(0, 0, 1)).apply(PIECE)
