"""The key step: the skull cap comes off, and goes on one way only."""

from itertools import combinations

import numpy as np
import pytest
from canthus.files.writing import write
from canthus.geometry.errors import BadFile, BadSetting, NotPossible, NotReady
from canthus.geometry.measures import components, is_watertight, volume
from canthus.geometry.solids.booleans import difference, intersection, shared_by_pairs, union
from canthus.geometry.solids.primitives import box, sphere
from canthus.geometry.transforms import rotation, transform
from canthus.job.run import run
from canthus.steps.output.key import Key
from canthus.steps.workpiece import Eye, Landmark, Workpiece


def egg(x, y, z, up, sag=0.0015):
    return sphere(1.0, sag=sag).moved(np.array([[x, 0, 0, 0], [0, y, 0, 0], [0, 0, z, up], [0, 0, 0, 1]], float))


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


def goes_on_one_way(piece, name, turns=(15, 90, 180)):
    """Seated and on its way out the part shares nothing with the head; turned any other way it collides."""
    up, at = np.array(piece.figures["cut_up"]), np.array(piece.figures["cut_at_mm"])
    head, part = piece.head, piece.parts[name]
    for out in (0.0, 0.3, 1.0, 2.5):
        assert volume(intersection(head, part.moved(transform(np.eye(3), out * up)))) == pytest.approx(0, abs=1e-9)
    for turn in turns:
        linear = rotation(up, np.radians(turn))
        assert volume(intersection(head, part.moved(transform(linear, at - linear @ at)))) > 0.5


@pytest.mark.parametrize("count", [3, 4])
def test_by_pins_it_goes_on_one_way_only(count):
    piece = Key(kind="pins", pins=count).apply(PIECE)
    assert piece.figures["keyed_by"] == "pins"
    assert piece.figures["pins"] == len(piece.figures["pins_at_mm"]) == count
    assert piece.figures["pin_diameter_mm"] == pytest.approx(0.06 * np.ptp(HEAD.vertices[:, 0]))
    assert piece.figures["pin_wall_mm"] >= 0.4 - 1e-9
    assert all(is_watertight(part) for part in piece.all_parts().values())
    assert piece.notes == ()
    goes_on_one_way(piece, "skull-cap")
    too_large = Eye("left", (0, 0, 0), diameter=piece.figures["opening_mm"] + 0.1, bore_length=1.0)
    told = Key(kind="pins", pins=count).apply(PIECE.but(eyes=(too_large,)))
    assert any("do not pass through the parting's opening" in note for note in told.notes)


def hairline():
    """Points round the egg, in print size: over the brow before, lower behind, as a hairline runs."""
    turns = 2 * np.pi * np.arange(24) / 24
    up = 9.0 + 2.5 * np.cos(turns + np.pi / 2) - 0.8 * np.cos(2 * turns)
    ring = np.sqrt(1 - ((up - 2.5) / 19.3) ** 2)
    return np.column_stack([12.9 * ring * np.cos(turns), 16.6 * ring * np.sin(turns), up])


def test_along_a_curve_of_ones_own(tmp_path):
    """Given where the capture lay; the rim runs through the points at print size, and nothing is lost but the gap."""
    frame = transform(np.eye(3) / 6, (1.0, 2.0, 3.0))
    np.savetxt(tmp_path / "curve.xyz", (hairline() - (1.0, 2.0, 3.0)) * 6)
    piece = Key(curve=str(tmp_path / "curve.xyz")).apply(PIECE.but(frame=frame))
    goes_on_one_way(piece, "skull-cap")
    for point in hairline():
        assert np.linalg.norm(piece.head.vertices - point, axis=1).min() < 0.15
    assert abs(volume(HEAD) - sum(map(volume, piece.all_parts().values()))) < 0.02 * volume(HEAD)
    assert piece.notes == ()
    lowered = Key(curve=str(tmp_path / "curve.xyz"), raise_by=-8).apply(PIECE.but(frame=frame))
    assert any("crosses the face" in note for note in lowered.notes)


def test_hair_as_a_part_of_its_own(tmp_path):
    hair = difference(egg(14.6, 18.3, 21.0, 2.5), egg(12.8, 16.5, 19.2, 2.5), box((-30, -30, -30), (30, 30, 9)))
    write(tmp_path / "hair.stl", hair)
    piece = Key(hair=str(tmp_path / "hair.stl"), pin=1.0, height=1.0).apply(PIECE)
    assert set(piece.parts) == {"hair"}
    assert piece.notes == ()
    goes_on_one_way(piece, "hair")
    low = difference(egg(14.6, 18.3, 21.0, 2.5), egg(12.8, 16.5, 19.2, 2.5), box((-30, -30, -30), (30, 30, -9)))
    write(tmp_path / "low.stl", low)
    held = Key(hair=str(tmp_path / "low.stl"), pin=1.0, height=1.0, trim=False, relieve=False).apply(PIECE)
    assert any("binds as it is lifted off" in note for note in held.notes)
    freed = Key(hair=str(tmp_path / "low.stl"), pin=1.0, height=1.0, relieve=False).apply(PIECE)
    (note,) = freed.notes
    assert "reached under the head" in note
    assert f"{freed.figures['trimmed_percent']:.1f} % of it was trimmed inside" in note
    assert f"locks up to {freed.figures['trimmed_lost_mm']:.1f} mm long went whole" in note  # its lowest edge
    up = np.array(freed.figures["cut_up"])
    lifted = [freed.parts["hair"].moved(transform(np.eye(3), out * up)) for out in (0, 0.05, 0.3, 1, 5, 20)]
    on_the_way = shared_by_pairs([freed.head, *lifted], [(0, number + 1) for number in range(len(lifted))])
    assert max(shared for shared, _ in on_the_way) < 1e-4


def test_the_head_is_relieved_under_hair_too_thin_to_be_trimmed():
    """A sideburn a third of a millimetre thick, down to where the head narrows: kept whole, and told."""
    cap = difference(egg(14.6, 18.3, 21.0, 2.5), egg(12.95, 16.65, 19.35, 2.5), box((-30, -30, -30), (30, 30, 9)))
    thin = difference(egg(13.3, 17.0, 19.7, 2.5), egg(12.95, 16.65, 19.35, 2.5))
    hair = union(cap, intersection(thin, box((0, -3, -5), (30, 3, 12))))
    fine = difference(egg(12.9, 16.6, 19.3, 2.5, 2e-4), egg(10.9, 14.6, 17.3, 2.5))  # what is seen ends at whole faces
    piece = PIECE.but(head=fine, parts={"hair": hair})
    lost = run([Key(part="hair", normal=(0, 0, 1), relieve=False)], piece).history[-1].figures
    done = run([Key(part="hair", normal=(0, 0, 1))], piece)
    figures, up = done.history[-1].figures, np.array([0.0, 0.0, 1.0])
    assert lost["trimmed_lost_mm"] > 3
    assert figures["trimmed_lost_mm"] < 0.7
    assert figures["relieved_mm3"] > 2
    assert figures["relieved_wall_mm"] >= 0.4
    assert volume(fine) - volume(done.head) > figures["relieved_mm3"]  # the pins' holes too
    (note,) = [each for each in done.notes if "relieved" in each]
    assert f"{figures['relieved_mm3']:.1f} mm³, {figures['relieved_deepest_mm']:.2f} mm deep at most" in note
    assert not any("binds" in each for each in done.notes)
    for out in (0.0, 0.3, 1.0, 2.5, 8.0):
        assert volume(intersection(done.head, done.parts["hair"].moved(transform(np.eye(3), out * up)))) < 1e-4


def test_a_sideburn_passes_the_parting_of_a_cap():
    """The rims lie on each other under the hair: head and cap give way there alike."""
    cap = difference(egg(14.6, 18.3, 21.0, 2.5), egg(12.95, 16.65, 19.35, 2.5), box((-30, -30, -30), (30, 30, 12)))
    thin = difference(egg(13.3, 17.0, 19.7, 2.5), egg(12.95, 16.65, 19.35, 2.5))
    hair = union(cap, intersection(thin, box((0, -3, -5), (30, 3, 14))))
    fine = difference(egg(12.9, 16.6, 19.3, 2.5, 2e-4), egg(10.9, 14.6, 17.3, 2.5))
    key = Key(part="hair", normal=(0, 0, 1), pin=1.0, height=1.0)
    piece = run([Key(), key], PIECE.but(head=fine, parts={"hair": hair}))
    figures, parts = piece.history[-1].figures, piece.all_parts()
    assert figures["relieved_mm3"] > 10
    assert figures["relieved_wall_mm"] >= 0.4
    assert figures["trimmed_lost_mm"] < 1.0  # its lowest edge, over the last whole faces that it hides
    moved = [parts["hair"].moved(transform(np.eye(3), (0, 0, out))) for out in (0, 0.05, 0.3, 1, 2.5, 6, 12)]
    pairs = [(solid, 2 + number) for number in range(len(moved)) for solid in (0, 1)]
    assert max(shared for shared, _ in shared_by_pairs([parts["head"], parts["skull-cap"], *moved], pairs)) < 1e-4


def wig(low=9.0, *cut):
    """Hair 1.7 mm thick that lies on the egg, above a height, less some blocks."""
    return difference(
        egg(14.6, 18.3, 21.0, 2.5), egg(12.95, 16.65, 19.35, 2.5), box((-30, -30, -30), (30, 30, low)), *cut
    )


def shares_nothing(one, other):
    return volume(intersection(one, other)) == pytest.approx(0, abs=1e-9)


def test_hair_is_keyed_once_the_cap_is_parted():
    """It lies on cap and head; its pins stand in the cap, and everything still goes together one way only."""
    piece = run([Key(), Key(part="hair")], PIECE.but(parts={"hair": wig()}))
    done = piece.history[-1].figures
    assert done["part"] == "hair"
    assert done["keyed_to"] == "skull-cap"
    assert done["trimmed_percent"] < 0.05  # it reaches under nothing
    parts = piece.all_parts()
    assert set(parts) == {"head", "skull-cap", "hair"}
    for part in parts.values():
        assert is_watertight(part)
        assert components(part).max() == 0
    for one, other in combinations(parts.values(), 2):
        assert shares_nothing(one, other)
    hair, up = parts["hair"], np.array(done["cut_up"])
    for out in (0.3, 1.0, 2.5):
        for solid in (parts["head"], parts["skull-cap"]):
            assert shares_nothing(solid, hair.moved(transform(np.eye(3), out * up)))
    at = np.array(done["cut_at_mm"])
    for turn in (15, 90, 180):
        linear = rotation(up, np.radians(turn))
        assert volume(intersection(parts["skull-cap"], hair.moved(transform(linear, at - linear @ at)))) > 0.3
    assert volume(parts["skull-cap"]) < volume(run([Key()], PIECE).parts["skull-cap"])  # the holes are in it
    cap_up = np.array(piece.history[0].figures["cut_up"])
    for out in (0.3, 1.0, 2.5):
        assert shares_nothing(parts["head"], parts["skull-cap"].moved(transform(np.eye(3), out * cap_up)))


def test_hair_that_lies_on_the_head_beside_the_cap_is_keyed_to_the_head():
    low = wig(-12.0, box((-30, -30, 6.0), (30, 30, 30)), box((-30, -30, -30), (30, 5, 30)))
    piece = run([Key(), Key(part="hair", normal=(0, 1, 0), pin=1.0)], PIECE.but(parts={"hair": low}))
    assert piece.history[-1].figures["keyed_to"] == "head"
    up = np.array(piece.history[-1].figures["cut_up"])
    for out in (0.0, 0.3, 1.0, 2.5):
        assert shares_nothing(piece.head, piece.parts["hair"].moved(transform(np.eye(3), out * up)))


def test_hair_in_pieces_is_kept_whole_and_remarked_on():
    parted = wig(9.0, box((-30, -0.4, -30), (30, 0.4, 40)))
    piece = run([Key(part="hair")], PIECE.but(parts={"hair": parted}))
    assert any("hair is in 2 pieces" in note for note in piece.notes)
    assert volume(piece.parts["hair"]) > 0.98 * volume(parted)


def test_pins_of_hair_suit_the_wall_they_stand_in():
    """A wall of 1 mm at the crown has no room for pins as long as usual: they are made shorter, and that is said."""
    shell = difference(egg(12.9, 16.6, 19.3, 2.5), egg(11.9, 15.6, 18.3, 2.5))
    flat = PIECE.but(head=shell, parts={"hair": wig(17.0)})
    piece = run([Key(part="hair", thinnest=0.2)], flat)
    assert 0.5 <= piece.history[-1].figures["pin_height_mm"] < 0.05 * np.ptp(HEAD.vertices[:, 0])
    assert any("The pins of hair are" in note for note in piece.notes)
    assert shares_nothing(piece.head, piece.parts["hair"])
    with pytest.raises(NotPossible, match="thick enough for pins"):
        run([Key(part="hair", thinnest=0.2, height=1.5)], flat)


def test_hair_is_keyed_once_and_last():
    keyed = run([Key(part="hair")], PIECE.but(parts={"hair": wig()}))
    assert keyed.history[-1].figures["keyed_to"] == "head"
    with pytest.raises(NotPossible, match="hair is keyed already"):
        run([Key(part="hair")], keyed)
    with pytest.raises(NotPossible, match="part the head first, then key the hair"):
        run([Key()], keyed)


def test_what_does_not_go_together_is_refused(tmp_path):
    np.savetxt(tmp_path / "curve.xyz", hairline())
    write(tmp_path / "hair.stl", egg(5, 5, 5, 0))
    curve, hair = str(tmp_path / "curve.xyz"), str(tmp_path / "hair.stl")
    with pytest.raises(BadSetting, match="a curved parting is keyed by pins"):
        Key(curve=curve, kind="rim").apply(PIECE)
    with pytest.raises(BadSetting, match="origin and curve are two partings"):
        Key(curve=curve, origin=(0, 0, 8), normal=(0, 0, 1)).apply(PIECE)
    with pytest.raises(BadSetting, match="hair is keyed by pins and parts nothing"):
        Key(curve=curve, hair=hair).apply(PIECE)
    with pytest.raises(BadFile, match="a list of points, not a mesh"):
        Key(curve=hair).apply(PIECE)
    with pytest.raises(BadFile, match="not a cloud of points"):
        Key(hair=curve).apply(PIECE)
    with pytest.raises(NotPossible, match="room for pins of"):
        Key(kind="pins", pin=20.0).apply(PIECE)


def test_what_cannot_be_done_is_said():
    with pytest.raises(NotReady, match="run close first"):
        Key().apply(Workpiece())
    with pytest.raises(BadSetting, match="origin and normal go together"):
        Key(origin=(0, 0, 8)).apply(PIECE)
    with pytest.raises(BadSetting, match="normal has no length"):
        Key(origin=(0, 0, 8), normal=(0, 0, 0)).apply(PIECE)
    with pytest.raises(NotPossible, match="misses the head"):
        Key(origin=(0, 0, 80), normal=(0, 0, 1)).apply(PIECE)
