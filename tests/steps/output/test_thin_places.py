"""What a thin wall is said to come from is what was cut beside it, each planted where it is known."""

import numpy as np
import pytest
from canthus.geometry.solids.booleans import difference, union
from canthus.geometry.solids.primitives import box, cylinder, icosphere
from canthus.steps.output import thin_places
from canthus.steps.output.check import Check
from canthus.steps.output.thin_places import advice_on
from canthus.steps.workpiece import Done, Eye, Workpiece

BALL = icosphere(4, 18.0)
VENT = Done("vent", {}, {"holes": [{"part": "head", "at_mm": [9, 0, -9], "way": [0, 0, -1.0], "diameter_mm": 2.0}]})
VENT.figures["holes"][0]["length_mm"] = 8.0
KEY = Done("key", {}, {"part": "skull-cap", "cut_at_mm": [0, 0, 12.0], "cut_up": [0, 0, 1.0], "spigot_mm": 2.0})
NECK = Done(
    "neck",
    {},
    {"cut_at_mm": [0, 0, -15.0], "cut_up": [0, 0, 1.0], "bore_diameter_mm": 4.0, "bore_depth_mm": 2.0},
)
PIECE = Workpiece(
    head=BALL,
    skin=BALL,
    eyes=(Eye("left", (6.0, -13.0, 3.0), diameter=4.0, clearance=0.1),),
    history=(Done("scale", {}), NECK, Done("hollow", {}), KEY, VENT),
)


@pytest.mark.parametrize(
    ("place", "advice"),
    [
        ((8.2, 0.0, -5.0), thin_places.VENT),
        ((8.2, 0.0, 3.0), thin_places.HOLLOWED),
        ((6.0, -13.0, 5.3), thin_places.SOCKET),
        ((3.0, 9.0, 13.5), thin_places.PARTING),
        ((3.0, 9.0, 15.5), thin_places.HOLLOWED),
        ((1.9, 0.0, -14.0), thin_places.JOINT),
        ((9.0, 0.0, -14.95), thin_places.CUT),
    ],
)
def test_what_was_cut_beside_it_is_named(place, advice):
    middle, half = np.array([place]), np.array([0.1, 0.0, 0.0])
    assert advice_on(PIECE, "head", middle - half, middle + half, 0.4) == [advice]


def test_a_cut_in_another_part_or_from_before_the_head_was_moved_is_not():
    ends = np.array([(8.2, 0.0, -5.0)])
    assert advice_on(PIECE, "skull-cap", ends, ends, 0.4) == [thin_places.HOLLOWED]
    scaled = PIECE.but(history=(*PIECE.history, Done("scale", {})))
    assert advice_on(scaled, "head", ends, ends, 0.4) == [thin_places.HOLLOWED]
    assert advice_on(Workpiece(head=BALL), "head", ends, ends, 0.4) == [thin_places.OTHER]


def test_the_check_tells_the_thinnest_place_from_what_most_come_from():
    """A scan with a fin 0.3 mm thick, and a vent that leaves 0.1 mm beside it over a short way."""
    scan = union(box((-18, -18, -18), (18, 18, 18)), box((-8, -0.15, 17), (8, 0.15, 24)))
    bored = difference(scan, cylinder((16.9, 0, -19), (16.9, 0, -16), 1.0, 0.001))
    vent = {"part": "head", "at_mm": [16.9, 0, -18], "way": [0, 0, -1.0], "diameter_mm": 2.0, "length_mm": 2.0}
    piece = Workpiece(head=bored, skin=scan, history=(Done("vent", {}, {"holes": [vent]}),))
    found = {each.name: each for each in Check(thin_share=0.5).apply(piece).checks}
    assert found["head: least wall"].value < 0.25  # under the fin's 0.3, over the 0.1 of a curve's middle alone
    assert found["head: least wall"].advice == thin_places.VENT
    assert found["head: thin walls"].advice == thin_places.SCANNED
    assert found["head: thin walls"].where[2] > 17
