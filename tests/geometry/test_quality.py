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


def test_noise_is_read_back_by_region_and_told_where_it_is_greater():
    points = sphere(60_000, 0.05)
    rough = (points > 0).all(axis=1)
    points[rough] *= 1 + 0.2 / 90 * np.random.default_rng(3).standard_normal((rough.sum(), 1))
    piece = Assess().apply(Workpiece(scan=Cloud(points)))
    regions = piece.figures["regions"]
    assert len(regions) == 8
    assert sum(region["surface_percent"] for region in regions) == pytest.approx(100)
    for region in regions:
        noisy = min(region["place_mm"]) > 0
        assert region["noise_mm"] == pytest.approx(np.hypot(0.05, 0.2) if noisy else 0.05, rel=0.1)
    assert sum("Noise is 0.2" in note for note in piece.notes) == 1


def test_the_other_wall_of_a_shell_is_no_noise():
    """Two spheres a millimetre apart, the inner one's normals inward, as printed busts are saved."""
    outer, inner = sphere(60_000, 0.02), sphere(60_000, 0.02, 89.0)
    ways = [points / np.linalg.norm(points, axis=1, keepdims=True) for points in (outer, inner)]
    found = quality_of(np.concatenate([outer, inner]), np.concatenate([ways[0], -ways[1]]))
    assert found.noise == pytest.approx(0.02, rel=0.15)
    assert found.spacing == pytest.approx(np.sqrt(4 * np.pi * 90**2 / 60_000), rel=0.1)


def test_strays_do_not_count_as_noise_of_the_worst_tenth():
    """They lie alone, so that looking evenly all over space finds them at every turn."""
    points = sphere(60_000, 0.05)
    stray = np.random.default_rng(2).uniform(-130, 130, (2000, 3))
    clean, dirty = (
        Assess().apply(Workpiece(scan=Cloud(each))).figures for each in (points, np.vstack([points, stray]))
    )
    assert dirty["worst_tenth_noise_mm"] == pytest.approx(clean["worst_tenth_noise_mm"], rel=0.05)
    assert dirty["worst_tenth_spacing_mm"] == pytest.approx(clean["worst_tenth_spacing_mm"], rel=0.05)
    assert dirty["stray_percent"] == pytest.approx(100 * 2000 / 62_000, abs=0.3)


@pytest.mark.parametrize(
    ("count", "noise", "verdict"), [(400_000, 0.04, "resolved"), (120_000, 0.1, "soft"), (20_000, 0.3, "lost")]
)
def test_the_verdict_follows(count, noise, verdict):
    points = sphere(count, noise)
    piece = Assess().apply(Workpiece(scan=Cloud(points)))
    assert piece.figures["verdict"] == f"lids {verdict}"
    assert ("recalibrate" in " ".join(piece.notes)) == (verdict == "lost")


@pytest.mark.parametrize(("count", "noise", "cause"), [(20_000, 0.1, "mm apart"), (200_000, 0.6, "noise of 0.")])
def test_the_verdict_names_its_cause(count, noise, cause):
    assert cause in Assess().apply(Workpiece(scan=Cloud(sphere(count, noise)))).notes[-1]
