"""Units told from head size: the spans come from ANSUR II head lengths and breadths (read as CSV, 6,068 people)."""

import numpy as np
import pytest
from canthus.anatomy.face.units import MILLIMETRES, core_extent, propose_unit, unit_factor
from canthus.geometry.errors import BadCloud, BadSetting

HEAD = (154.3, 199.5, 245.0)  # mean male head breadth and length, ANSUR II; vertex-gnathion 232 and a little neck


def head_cloud(count=20_000, seed=1):
    directions = np.random.default_rng(seed).normal(size=(count, 3))
    return directions / np.linalg.norm(directions, axis=1, keepdims=True) * np.array(HEAD) / 2


@pytest.mark.parametrize("unit", MILLIMETRES)
def test_a_mean_head_is_known_in_every_unit(unit):
    proposal = propose_unit(head_cloud() / MILLIMETRES[unit])
    assert (proposal.unit, proposal.certain) == (unit, True)
    assert proposal.factor * proposal.side == pytest.approx(245.0, rel=0.01)


def test_between_inches_and_centimetres_it_asks():
    proposal = propose_unit(head_cloud() * 16.5 / 245)
    assert not proposal.certain
    assert {"cm", "in"} <= set(proposal.candidates)
    assert "centimetres" in proposal.why
    assert "inches" in proposal.why


def test_a_bust_is_proposed_but_not_sure():
    proposal = propose_unit(head_cloud() * 560 / 245)
    assert (proposal.unit, proposal.certain) == ("mm", False)


def test_a_head_printed_at_a_sixth_is_not_sure():
    assert not propose_unit(head_cloud() / 6).certain


def test_a_coin_is_no_head():
    proposal = propose_unit(head_cloud() * 3 / 245)
    assert not proposal.certain
    assert proposal.candidates == ()


@pytest.mark.parametrize("reach", [400.0, 4_000.0, 4e6])
def test_strays_do_not_change_the_size(reach):
    rng = np.random.default_rng(2)
    dirty = np.vstack([head_cloud(), rng.uniform(-reach, reach, (600, 3))])
    assert core_extent(dirty).max() == pytest.approx(245.0, rel=0.15)
    assert propose_unit(dirty).unit == "mm"


def test_nothing_to_measure_is_refused():
    with pytest.raises(BadCloud):
        propose_unit(np.zeros((0, 3)))
    with pytest.raises(BadCloud):
        propose_unit(np.ones((5, 3)))
    corners = np.array([[x, y, z] for x in (0, 180) for y in (0, 200) for z in (0, 240)], float)
    with pytest.raises(BadCloud, match="8 points are too few to be a head"):
        propose_unit(corners)
    with pytest.raises(BadSetting, match="cubit"):
        unit_factor("cubit")
