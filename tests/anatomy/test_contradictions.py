"""Pairs at odds with the others: none among true landmarks of other people, each one that was set wrong."""

import numpy as np
import pytest
from canthus.anatomy.skin.base_fit import contradicting
from canthus.anatomy.skin.base_head import own_base
from canthus.geometry.transforms import applied, matched
from demo_heads import demo_head  # noqa: F401  (it puts the tools on the path)

NAMES = [name for name in own_base().landmarks if name != "vertex"]


@pytest.fixture(scope="module")
def sitters():
    """(20, k, 3) true landmarks of demo variants that no other test here uses."""
    from base_head import form
    from demo_head.build import POSED
    from demo_head.variation import Variation

    marks = form.landmarks()
    own = np.array([marks[name] for name in NAMES]) / form.FLIP
    return np.array([Variation.drawn(seed).apply(own) @ POSED for seed in range(40, 60)])


def named(places):
    base = own_base().places()
    own = np.array([base[name] for name in NAMES])
    laid = applied(matched(own, places, scaled=True), own)
    return {NAMES[row]: gap for row, gap in contradicting(laid, places).items()}


def test_true_landmarks_of_other_people_do_not_contradict(sitters):
    for places in sitters:
        assert named(places) == {}


@pytest.mark.parametrize(
    ("name", "off"), [("exocanthion-left", 7.0), ("pronasale", 9.0), ("cheilion-right", 11.0), ("tragion-left", 15.0)]
)
def test_one_that_was_set_wrong_is_named_first(sitters, name, off):
    rng = np.random.default_rng(2)
    for places in sitters[:8]:
        way = rng.normal(size=3)
        wrong = places.copy()
        wrong[NAMES.index(name)] += off * way / np.linalg.norm(way)
        found = named(wrong)
        assert name in found
        assert max(found, key=found.get) == name
