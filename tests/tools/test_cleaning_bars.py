"""The project's bars of the cleaning steps on captures of seeds that no constant was chosen with.

The captures are small, to be quick; the bars are for 200,000 points and more, and hold at these sizes too where nothing
else is said. `python3 tools/benchmark.py` measures at full size.
"""

from types import SimpleNamespace

import numpy as np
import pytest
from benchmarks.places import Creases, face, outer_margins, round_ears, round_eyes
from canthus.geometry.cleaning.bristles import bristles
from canthus.geometry.cleaning.denoising import denoised
from canthus.geometry.cleaning.layers import merged_layers, spread
from canthus.geometry.cleaning.strays import GOOD, found_strays
from canthus.geometry.cloud import Cloud
from canthus.geometry.distances.closest import ClosestPoint
from scipy.spatial import cKDTree
from simulator.capture import simulate
from simulator.settings import Settings

SKIN, SECOND_SKIN, LASH = 0, 4, 5
NO_FAULTS = {"strays": 0.0, "clusters": 0.0, "veils": 0.0, "lashes": 0.0}


@pytest.fixture(scope="module")
def bench(head):
    """The head and its truth, as the rows of the benchmark ask for them."""
    return SimpleNamespace(head=head.mesh, truth=head.truth)


@pytest.fixture(scope="module")
def creases(bench):
    return Creases(bench)


@pytest.fixture(scope="module")
def single(head):
    """How thick the face of a clean single skin is."""
    return spread(face(captured(head, 80_000, seed=31, **NO_FAULTS)))


def captured(head, points, **settings):
    return simulate(head.mesh, Settings(points=points, **settings), head.truth)


@pytest.mark.parametrize("seed", [31, 32])
def test_strays_go_and_ears_and_lids_stay(head, bench, seed):
    """Bars at a million points: 2 % of what is over 1 mm off may be left, 0.5 % of the skin lost, 1 % at ears and lids.

    At 80,000 points veils are as thin as the skin behind an ear: twice as many, and half as many again, may stay.
    """
    cloud = captured(head, 80_000, strays=0.02, clusters=0.01, veils=0.01, seed=seed)
    gone = found_strays(cloud.points).kind != GOOD
    label = cloud.columns["label"]
    skin = label == SKIN
    far = ~skin & (label != LASH) & (cloud.columns["truth_distance"] > 1.0)
    fine = skin & (round_eyes(bench, cloud.points, 17.0) | round_ears(bench, cloud.points))
    assert (~gone[far]).mean() < 2.5 * 0.02
    assert gone[skin].mean() < 0.005
    assert gone[fine].mean() < 2 * 0.01


@pytest.mark.parametrize("seed", [41, 42])
def test_lashes_go_and_the_margins_stay(head, bench, seed):
    """Bars: at most 10 % of the lash points left, the lids' margins moved by 0.2 mm at most."""
    cloud = captured(head, 120_000, seed=seed)
    middle = cloud.points.mean(axis=0)
    label = cloud.columns["label"]
    rows, gone = [], []
    for eye in head.truth.eyes.values():
        centre = (eye.upper_margin.mean(axis=0) + eye.lower_margin.mean(axis=0)) / 2
        near = np.flatnonzero((np.linalg.norm(cloud.points - centre, axis=1) < 24.0) & np.isin(label, (SKIN, LASH)))
        before = centre + 100 * (centre - middle) / np.linalg.norm(centre - middle)
        rows.append(near)
        gone.append(bristles(cloud.points[near], before))
    near, off = np.concatenate(rows), np.concatenate(gone)
    kind = label[near]
    assert (~off[kind == LASH]).mean() < 0.1
    margin, points = outer_margins(bench), cloud.points[near]
    before = cKDTree(points[kind == SKIN]).query(margin)[0]
    after = cKDTree(points[(kind == SKIN) & ~off]).query(margin)[0]
    assert (after - before).mean() < 0.2


@pytest.mark.parametrize("seed", [31, 32])
def test_a_second_skin_is_laid_down(head, creases, single, seed):
    """Bars: the spread at most 1.2 of a clean skin's, at least 90 % of the lids' creases kept."""
    doubled = captured(head, 80_000, seed=seed, second_skin=0.6, **NO_FAULTS)
    found = merged_layers(doubled.points, view=doubled.columns["view"])
    assert spread(face(Cloud(found.points))) < 1.2 * single
    assert creases.kept(found.points) > 0.9


def test_a_second_skin_is_laid_down_where_no_pass_is_told(head):
    """Most of it lands, and of the body's own points few are moved with it: 1.5 to 2.2 % at this size, three seeds."""
    doubled = captured(head, 80_000, seed=33, second_skin=0.6, **NO_FAULTS)
    moved, label = merged_layers(doubled.points).moved, doubled.columns["label"]
    assert moved[label == SECOND_SKIN].mean() > 0.8
    assert moved[label == SKIN].mean() < 0.03


@pytest.mark.parametrize("seed", [31, 32])
def test_noise_goes_and_creases_stay(head, creases, seed):
    """Bars at 200,000 points: RMS to the truth at most 0.5 of what it was, at least 90 % of the creases kept.

    At 80,000 points a neighbourhood is as wide as the relief of the hair: 0.7 of what it was.
    """
    cloud = captured(head, 80_000, noise=0.1, seed=seed, **NO_FAULTS)
    found = denoised(cloud.points).points
    truth, some = ClosestPoint(head.mesh), slice(None, None, 4)
    before, after = (np.sqrt((truth.query(each[some])[0] ** 2).mean()) for each in (cloud.points, found))
    assert after < 0.7 * before
    assert creases.kept(found) > 0.9
