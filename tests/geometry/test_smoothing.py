"""Smoothing against the published transfer function and the sphere's own volume; reduction against its promise."""

import numpy as np
import pytest
from canthus.geometry.errors import BadSetting
from canthus.geometry.measures import edge_faults, volume
from canthus.geometry.mending.reducing import farthest_apart, reduced, reduced_within
from canthus.geometry.mending.smoothing import averaging, inflating_factor, smoothed
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import icosphere
from hypothesis import given
from hypothesis import strategies as st


@pytest.mark.parametrize(
    ("strength", "factor", "band"), [(0.6307, -0.6732, 0.1001), (0.5, -0.53, 0.1132), (0.33, -0.34, 0.0891)]
)
def test_pass_bands_of_the_pairs_in_use(strength, factor, band):
    """reference_values.md section 8: 1/lambda + 1/mu of three published pairs."""
    assert inflating_factor(strength, band) == pytest.approx(factor, abs=0.002)


def test_the_factor_for_a_pass_band_of_a_tenth():
    """reference_values.md section 8: lambda 0.33 needs mu -0.34126, lambda 0.5 needs -0.52632."""
    assert inflating_factor(0.33, 0.1) == pytest.approx(-0.34126, abs=1e-5)
    assert inflating_factor(0.5, 0.1) == pytest.approx(-0.52632, abs=1e-5)


@pytest.mark.parametrize("mode", [3, 20, 60, 161])
def test_an_eigenmode_is_scaled_by_the_transfer_function(mode):
    """(1 - lambda k)(1 - mu k) to the power of the passes (Taubin 1995), on eigenmodes found by numpy."""
    sphere = icosphere(2, 10.0)
    mean = averaging(sphere).toarray().astype(float)
    values, vectors = np.linalg.eig(np.eye(len(mean)) - mean)
    order = np.argsort(values.real)
    k, wave = values.real[order[mode]], vectors.real[:, order[mode]]
    wave = wave / np.abs(wave).max()
    rippled = Mesh(sphere.vertices + wave[:, None] * [0.1, 0, 0], sphere.triangles)
    change = smoothed(rippled, 2).vertices - smoothed(sphere, 2).vertices
    expected = ((1 - 0.5 * k) * (1 + 0.52632 * k)) ** 2
    assert (change[:, 0] @ wave) / (wave @ wave) / 0.1 == pytest.approx(expected, rel=0.02, abs=1e-4)


def test_fifty_double_steps_leave_a_sphere_its_volume():
    """The project's bar: 0.1 % after 50 double steps."""
    sphere = icosphere(5, 40.0)
    assert volume(smoothed(sphere, 50)) == pytest.approx(volume(sphere), rel=1e-3)


def test_noise_goes():
    sphere = icosphere(5, 40.0)
    noise = np.random.default_rng(0).standard_normal((len(sphere.vertices), 1)) * 0.05
    rough = Mesh(sphere.vertices * (1 + noise / 40), sphere.triangles)
    away = np.linalg.norm(smoothed(rough, 10).vertices, axis=1) - 40
    assert away.std() < 0.5 * noise.std()


@given(st.floats(-100, 100), st.floats(0.2, 5))
def test_moving_and_scaling_first_or_last_is_one(shift, scale):
    sphere = icosphere(1, 1.0)
    bent = Mesh(sphere.vertices * [1, 1.5, 0.7], sphere.triangles)
    after = smoothed(bent).vertices * scale + shift
    np.testing.assert_allclose(smoothed(Mesh(bent.vertices * scale + shift, bent.triangles)).vertices, after, atol=1e-4)


def test_a_vertex_without_neighbours_stays():
    sphere = icosphere(2, 10.0)
    spare = Mesh(np.concatenate([sphere.vertices, [[30.0, 1.0, 2.0]]]), sphere.triangles[1:])
    np.testing.assert_allclose(smoothed(spare).vertices[-1], [30.0, 1.0, 2.0], rtol=1e-6)


def test_the_same_bits_every_time():
    sphere = icosphere(4, 40.0)
    rough = Mesh(sphere.vertices + np.random.default_rng(0).standard_normal(sphere.vertices.shape), sphere.triangles)
    assert smoothed(rough).vertices.tobytes() == smoothed(rough).vertices.tobytes()


def test_means_are_over_each_neighbour_once_at_an_open_rim_too():
    """Two triangles over one edge, by hand: corners 1 and 2 have three neighbours, 0 and 3 two."""
    pair = Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0]], [[0, 1, 2], [2, 1, 3]])
    expected = [[0, 1 / 2, 1 / 2, 0], [1 / 3, 0, 1 / 3, 1 / 3], [1 / 3, 1 / 3, 0, 1 / 3], [0, 1 / 2, 1 / 2, 0]]
    np.testing.assert_allclose(averaging(pair).toarray(), expected, rtol=1e-6)


def test_a_sheet_folded_on_itself_has_no_volume_to_keep():
    flat = Mesh([[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 1, 2], [0, 2, 1]])
    assert np.isfinite(smoothed(flat).vertices).all()


def test_a_pass_band_without_a_factor_is_refused():
    with pytest.raises(BadSetting, match="pass band"):
        inflating_factor(1.0, 1.0)


def test_reduction_keeps_the_sphere_closed_and_near():
    sphere = icosphere(5, 40.0)
    fewer = reduced(sphere, 4000)
    assert len(fewer.triangles) <= 4100
    assert not edge_faults(fewer)
    assert volume(fewer) == pytest.approx(volume(sphere), rel=2e-3)
    assert farthest_apart(sphere, fewer) < 0.15


def test_reduction_to_a_deviation_keeps_its_promise():
    sphere = icosphere(5, 40.0)
    fewer = reduced_within(sphere, 0.2)
    assert farthest_apart(sphere, fewer) <= 0.2
    assert len(fewer.triangles) < len(sphere.triangles) / 4


def test_colours_and_columns_follow():
    sphere = icosphere(4, 40.0)
    colours = np.where(sphere.vertices[:, :1] > 0, [[255, 0, 0]], [[0, 0, 255]]).astype(np.uint8)
    marked = Mesh(sphere.vertices, sphere.triangles, colours, {"side": sphere.vertices[:, 0] > 0})
    fewer = reduced(marked, 500)
    right = fewer.vertices[:, 0] > 4
    assert (fewer.colours[right] == [255, 0, 0]).all()
    assert fewer.columns["side"][right].all()
