"""Eyes from the front on a relief made from formulas: globes between lids, a crease, a lower lid that stands out.

The fissure is the published 27.1 by 9.7 mm (Read et al. 2006), the globe's radius 12.1 (24.2, Bekerman et al. 2014),
the lids 2 mm thick, the crease 5 mm above the margin.
"""

import numpy as np
from canthus.anatomy.face.lid_landmarks import eye_landmarks
from canthus.anatomy.face.proposals import SURE, TRACE
from canthus.geometry.views.depth_map import DepthMap, sampled
from canthus.geometry.views.relief import relief

PIXEL = 0.4
MIDDLE, LEVEL = 31.0, 17.5
CREASE = 5.0


def bow(x):
    """Share of the lids' height over each place across, from the inner to the outer corner."""
    along = np.clip((np.abs(x) - MIDDLE) / 13.55, -1.0, 1.0)
    return (1 - np.abs(along) ** 2.2) ** 0.9


def front(upper=2.0, crease=1.6):
    """The face from the front: `upper` is how far the upper lid stands off the globe, `crease` how deep its fold is."""
    x, z = np.meshgrid(np.arange(-62, 62, PIXEL), np.arange(-20, 55, PIXEL))
    outwards, up = np.abs(x) - MIDDLE, z - LEVEL
    high, low = 4.1 * bow(x), -5.6 * bow(x)
    within = np.minimum(high - up, up - low)
    globe = np.sqrt(np.maximum(12.1**2 - outwards**2 - up**2, 0.0))
    over = np.where(up > (high + low) / 2, upper, 2.0) * smooth(-within / 0.8 + 0.5) * (np.abs(outwards) < 15)
    skin = 6.5 - 0.004 * outwards**2 + 12 * np.exp(-((x / 9) ** 2))
    lids = 1.2 * np.logaddexp(skin / 1.2, (globe + over) / 1.2)
    fold = crease * np.exp(-0.5 * ((up - high - CREASE) / 0.6) ** 2) * bow(x)
    return DepthMap(np.where(within > 0, globe, lids) - fold + 75, np.array([-62.0, -20.0]), PIXEL)


def smooth(share):
    share = np.clip(share, 0, 1)
    return share * share * (3 - 2 * share)


def off(found, name, place):
    """Distance across and up from where a landmark of either eye is."""
    x, up = place
    return [np.linalg.norm(found[f"{name}-{side}"][0][[0, 2]] - [sign * x, up]) for side, sign in SIDES]


SIDES = (("left", 1.0), ("right", -1.0))


def test_a_crease_that_folds_more_sharply_is_not_taken_for_the_margin():
    seen = front()
    across = np.linspace(MIDDLE - 8, MIDDLE + 8, 40)
    margin, crease = (
        np.median(sampled(relief(seen, 0.8).valley, seen, across, LEVEL + 4.1 * bow(across) + over))
        for over in (0.0, CREASE)
    )
    assert crease > 1.2 * margin  # it is the sharper fold
    found = eye_landmarks(seen, 1.0)
    assert max(off(found, "palpebrale-superius", (MIDDLE, LEVEL + 4.1))) < 2.0
    assert max(off(found, "palpebrale-inferius", (MIDDLE, LEVEL - 5.6))) < 2.0
    assert all(sure >= SURE for _, sure in found.values())


def test_an_eye_whose_upper_margin_is_hidden_is_neither_shut_nor_sure():
    """The lower lid stands out under its fold, as no shut eye's does."""
    found = eye_landmarks(front(upper=0.0), 1.0)
    for name, place in (("endocanthion", MIDDLE - 13.55), ("exocanthion", MIDDLE + 13.55)):
        assert max(off(found, name, (place, LEVEL))) < 4.0
    assert max(off(found, "palpebrale-inferius", (MIDDLE, LEVEL - 5.6))) < 2.0
    for side, _ in SIDES:
        assert TRACE < found[f"palpebrale-inferius-{side}"][1] < SURE
        assert found.get(f"palpebrale-superius-{side}", (None, 0.0))[1] < SURE
