"""Spacing and noise of captures made with known spacing and noise."""

import numpy as np
import pytest
from canthus.geometry.cloud import Cloud
from canthus.geometry.clouds.quality import quality_of
from canthus.steps.intake.assess import Assess
from canthus.steps.workpiece import Workpiece


def sphere(count, noise, radius=90.0):
    rng = np.random.default_rng(0)
    ways = rng.standard_normal((count, 3))
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    return ways * (radius + noise * rng.standard_normal((count, 1)))


@pytest.mark.parametrize(("count", "noise"), [(100_000, 0.05), (30_000, 0.2)])
def test_spacing_and_noise_are_read_back(count, noise):
    found = quality_of(sphere(count, noise))
    assert found.spacing == pytest.approx(np.sqrt(4 * np.pi * 90**2 / count), rel=0.1)
    assert found.noise == pytest.approx(noise, rel=0.1)
    assert found.dropouts < 0.05


def test_a_thinly_scanned_part_shows_in_the_worst_tenth():
    points = sphere(100_000, 0.05)
    rng = np.random.default_rng(1)
    thin = points[(points[:, 2] < 0) | (rng.random(len(points)) < 0.1)]
    found = quality_of(thin)
    assert found.worst_spacing > 2 * found.spacing or found.worst_spacing > 2.5


@pytest.mark.parametrize(
    ("count", "noise", "verdict"), [(400_000, 0.04, "resolved"), (120_000, 0.1, "soft"), (20_000, 0.3, "lost")]
)
def test_the_verdict_follows(count, noise, verdict):
    points = sphere(count, noise)
    piece = Assess().apply(Workpiece(scan=Cloud(points)))
    assert piece.figures["verdict"] == f"lids {verdict}"
    assert ("recalibrate" in " ".join(piece.notes)) == (verdict == "lost")
