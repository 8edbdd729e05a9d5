"""Relief measured on a flat sheet against what was set, and the statement of what prints."""

import numpy as np
import pytest
from canthus.anatomy.skin.skin_relief import Form, from_image, inwards, lines, scattered, what_prints
from canthus.geometry.mesh import Mesh

SIDE, STEP = 60.0, 0.1


@pytest.fixture(scope="module")
def sheet():
    ticks = np.arange(0, SIDE + STEP / 2, STEP)
    x, y = np.meshgrid(ticks, ticks, indexing="ij")
    rows = np.arange(x.size).reshape(x.shape)
    a, b, c, d = (each.ravel() for each in (rows[:-1, :-1], rows[1:, :-1], rows[1:, 1:], rows[:-1, 1:]))
    triangles = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    return Mesh(np.stack([x.ravel(), y.ravel(), np.zeros(x.size)], axis=1), triangles), len(ticks)


def test_pores_are_as_deep_wide_and_many_as_set(sheet):
    """Issue 6: within 5 %. Width from the area under half the depth, pi (width / 2)^2 a pore."""
    mesh, _ = sheet
    form = Form(-0.08, 0.9, density=20.0)
    places, relief = scattered(mesh, form, np.ones(len(mesh.vertices)), seed=4)
    density = len(places) / (SIDE**2 / 100)
    assert density == pytest.approx(20.0, rel=0.05)
    near = np.linalg.norm(mesh.vertices[:, None, :2] - places[None, :40, :2], axis=2)
    assert np.median(-relief[near.argmin(axis=0)]) == pytest.approx(0.08, rel=0.05)
    alone = np.flatnonzero([np.sort(np.linalg.norm(places - place, axis=1))[1] > 2.5 for place in places])
    inside = np.all((places[alone, :2] > 2) & (places[alone, :2] < SIDE - 2), axis=1)
    widths = []
    for place in places[alone[inside]][:40]:
        dent = relief[np.linalg.norm(mesh.vertices - place, axis=1) < 1.2]
        widths.append(2 * np.sqrt((dent < -0.04).sum() * STEP**2 / np.pi))
    assert len(widths) > 5
    assert np.mean(widths) == pytest.approx(0.9, rel=0.05)
    again, _ = scattered(mesh, form, np.ones(len(mesh.vertices)), seed=4)
    np.testing.assert_array_equal(places, again)
    assert not np.array_equal(places, scattered(mesh, form, np.ones(len(mesh.vertices)), seed=5)[0])


def test_half_the_share_is_half_the_density(sheet):
    mesh, _ = sheet
    share = np.where(mesh.vertices[:, 0] < SIDE / 2, 1.0, 0.5)
    places, _ = scattered(mesh, Form(-0.1, 0.3, density=40.0), share, seed=2)
    left = (places[:, 0] < SIDE / 2).sum()
    assert (len(places) - left) / left == pytest.approx(0.5, abs=0.06)


@pytest.mark.parametrize("way", [(0, 1, 0), (1, 1, 0)])
def test_lines_are_as_deep_wide_and_far_apart_as_set(sheet, way):
    mesh, count = sheet
    form = Form(-0.06, 0.6, spacing=2.0)
    relief = lines(mesh.vertices, np.tile([0.0, 0, 1], (len(mesh.vertices), 1)), form, np.array(way), seed=3)
    assert -relief.min() == pytest.approx(0.06, rel=0.05)
    # the share of the area under half the depth is width over spacing
    assert (relief < -0.03).mean() == pytest.approx(0.6 / 2.0, rel=0.05)
    profile = relief.reshape(count, count)[count // 2]
    furrows = ((profile[1:-1] < profile[:-2]) & (profile[1:-1] <= profile[2:]) & (profile[1:-1] < -0.04)).sum()
    step = np.linalg.norm(way) / abs(way[1])
    assert furrows == pytest.approx(SIDE / (2.0 * step), abs=2)


def test_a_region_fades_in_from_its_edge(sheet):
    """Half of the way in a smooth step is a half."""
    mesh, _ = sheet
    inside = mesh.vertices[:, 0] > 30.0
    share = inwards(mesh.vertices, inside, 4.0)
    at = mesh.vertices[:, 0] - 30.0
    assert (share[~inside] == 0).all()
    assert (share[at > 4.2] == 1).all()
    assert share[np.abs(at - 2.0) < 0.01].mean() == pytest.approx(0.5, abs=0.05)


def test_an_image_is_laid_in_tiles_at_its_depth(sheet):
    mesh, count = sheet
    ramp = np.tile(np.linspace(0, 1, 50), (50, 1))
    relief = from_image(mesh.vertices, np.tile([0.0, 0, 1], (len(mesh.vertices), 1)), ramp, 20.0, 0.3)
    assert relief.min() == pytest.approx(-0.3, abs=1e-6)
    assert relief.max() == pytest.approx(0.0, abs=1e-3)
    rows = relief.reshape(count, count)
    np.testing.assert_allclose(rows[:200], rows[200:400], atol=1e-9)  # 20 mm on, the same again


@pytest.mark.parametrize(("pixel", "skin"), [(0.05, 0.60), (0.035, 0.42), (0.02, 0.24)])
def test_what_prints_at_three_printers(pixel, skin):
    """reference_values.md section 9: two pixels stand for 0.60, 0.42 and 0.24 mm of skin at 1/6."""
    forms = {"pores": Form(-0.05, 0.25), "folds": Form(-0.2, 0.59)}
    told = what_prints(forms, pixel, 1 / 6)
    assert f"stand for {skin:.2f} mm" in told[0]
    assert ("will not show" in told[1]) == (skin > 0.25)
    assert ("will not show" in told[2]) == (skin > 0.59)
    assert "0.042 mm on the print" in told[1]


def test_enlarged_all_of_it_grows_and_thins_out():
    twice = Form(-0.05, 0.25, density=40.0, spacing=1.0).enlarged(2.0)
    assert (twice.depth, twice.width, twice.density, twice.spacing) == (-0.1, 0.5, 10.0, 2.0)
