"""A part laid at a gap over a ball: every distance is known by the radius."""

import numpy as np
import pytest
from canthus.geometry.distances.sided import Sided
from canthus.geometry.measures import is_watertight, volume
from canthus.geometry.mesh import Mesh
from canthus.geometry.quad_meshes.splitting import split
from canthus.geometry.refitting.gap_laying import laid_at_gap
from canthus.geometry.refitting.thickening import thickened
from canthus.geometry.refitting.under_side import innermost, lying_on
from canthus.geometry.solids.primitives import box, prism, sphere
from hair_caps import cap

BALL = Sided(sphere(80.0, sag=0.02))
CAP = cap(81.5, 88.0, 10.0, 5)


def bumps(points):
    """The cap's points pushed in and out by up to a millimetre, in waves some 30 mm long."""
    wave = np.sin(points[:, 0] / 5) * np.cos(points[:, 1] / 6)
    return points * (1 + wave / 80)[:, None]


@pytest.mark.parametrize("gap", [0.5, -0.6])
def test_every_place_of_the_under_side_lies_at_the_gap(gap):
    """Distance to a ball is the radius less its own; a place inside each face is measured too."""
    part = Mesh(bumps(CAP.vertices), CAP.triangles)
    under, _ = lying_on(part, BALL, 4.0)
    laid = laid_at_gap(part, under, np.where(under, gap, np.nan), BALL, gap, 0.03)
    faces = laid.mesh.triangles[laid.under[laid.mesh.triangles].all(axis=1)]
    inside = np.einsum("k,mkj->mj", [0.6, 0.3, 0.1], laid.mesh.vertices[faces])
    for places in (laid.mesh.vertices[laid.under], inside):
        assert np.abs(np.linalg.norm(places, axis=1) - 80.0 - gap).max() < 0.03 + 0.01  # and the ball's own facets
    assert np.linalg.norm(laid.mesh.vertices, axis=1).min() > 80.0 + gap - 0.05
    assert laid.least >= gap - 0.031
    assert laid.greatest <= gap + 0.031
    assert is_watertight(laid.mesh)
    assert laid.crossing == 0


def test_what_lies_over_it_goes_along():
    """The outer side stands 6.5 mm off before and after, within half a millimetre."""
    under, _ = lying_on(CAP, BALL, 4.0)
    laid = laid_at_gap(CAP, under, np.where(under, 0.3, np.nan), BALL, 0.3, 0.03)
    outer = np.linalg.norm(CAP.vertices, axis=1) > 87.9
    moved = np.linalg.norm(laid.mesh.vertices[: len(CAP.vertices)][outer], axis=1)
    assert np.abs(moved - 88.0 + 1.2).max() < 0.5


def test_the_under_side_is_what_faces_the_ball():
    under, height = lying_on(CAP, BALL, 4.0)
    radius = np.linalg.norm(CAP.vertices, axis=1)
    assert (radius[under] < 82.0).all()
    assert under[(radius < 81.6) & (CAP.vertices[:, 2] > 16)].all()
    np.testing.assert_allclose(height, radius - 80.0, atol=0.02)
    inner = innermost(CAP, CAP.vertices / radius[:, None])
    assert (inner == under).mean() > 0.995


def test_a_sheet_becomes_a_solid_of_its_thickness():
    """All within r of a flat square: 2 r area + pi r² / 2 rim + 4 pi r³ / 3, by Steiner 1840."""
    side, thickness = 30.0, 1.5
    ticks = np.linspace(-side / 2, side / 2, 31)
    x, y = np.meshgrid(ticks, ticks)
    number = np.arange(31 * 31).reshape(31, 31)
    a, b, c, d = (number[i : 30 + i, j : 30 + j].ravel() for i, j in ((0, 0), (0, 1), (1, 1), (1, 0)))
    sheet = Mesh(
        np.column_stack([x.ravel(), y.ravel(), np.full(x.size, 200.0)]),
        np.concatenate([np.column_stack([a, b, c]), np.column_stack([a, c, d])]).astype(np.int32),
        np.full((x.size, 3), 77, np.uint8),
    )
    solid = thickened(sheet, np.ones(len(sheet.vertices), bool), thickness, BALL, -3.0)
    r = thickness / 2
    expected = 2 * r * side**2 + np.pi * r**2 / 2 * 4 * side + 4 / 3 * np.pi * r**3
    assert volume(solid.mesh) == pytest.approx(expected, rel=0.01)
    assert is_watertight(solid.mesh)
    assert np.abs(solid.mesh.vertices[:, 2] - 200.0).max() == pytest.approx(r, abs=1e-6)
    assert (solid.mesh.colours == 77).all()


def test_a_void_between_sheets_is_filled():
    """A ball's skin of 20 mm made 2 mm thick holds the void within it too: what is shut in drains nowhere."""
    skin = sphere(20.0, (0, 0, 200.0), sag=0.05)
    solid = thickened(skin, np.zeros(len(skin.vertices), bool), 2.0, BALL, -3.0)
    assert volume(solid.mesh) == pytest.approx(4 / 3 * np.pi * 21.0**3, rel=0.01)
    assert is_watertight(solid.mesh)


def test_a_sheet_on_the_ball_does_not_reach_under_its_gap():
    ball = sphere(81.25, sag=0.05)
    sheet = ball.kept(ball.corners[:, :, 2].mean(axis=1) > 74)
    solid = thickened(sheet, np.ones(len(sheet.vertices), bool), 2.0, BALL, 0.25)
    radius = np.linalg.norm(solid.mesh.vertices, axis=1)
    assert radius.min() > 80.25 - 0.03
    assert solid.least == pytest.approx(0.25, abs=0.03)
    assert solid.greatest == pytest.approx(0.25, abs=0.03)
    assert radius.max() == pytest.approx(82.25, abs=0.05)
    assert solid.crossing == 0


@pytest.mark.parametrize("depth", [1.0, 3.0])
def test_a_groove_is_followed_without_faces_that_cross(depth):
    """Planes at a known slope: their distance is that of the formula. A slab is pressed into a V 6 mm wide."""
    outline = [(-40, -20), (40, -20), (40, 0), (3, 0), (0, -depth), (-3, 0), (-40, 0)]
    upright = np.array([[1.0, 0, 0, 0], [0, 0, 1, 0], [0, 1, 0, 0], [0, 0, 0, 1]])
    block = Sided(prism(outline, -15, 15).moved(upright))
    slab, _ = split(box((-12, -8, 0.4), (12, 8, 6)), 1.5)
    under = slab.vertices[:, 2] < 0.41
    laid = laid_at_gap(slab, under, np.where(under, 0.3, np.nan), block, 0.3, 0.1)
    assert is_watertight(laid.mesh)
    assert laid.crossing == laid.freed == 0
    side = laid.mesh.vertices[laid.under]
    deep = np.abs(side[:, 0]) < 1.5  # nearer to the planes than to their edges
    height = (side[:, 2] + depth - np.abs(side[:, 0]) * depth / 3) * 3 / np.hypot(3, depth)
    assert deep.sum() > 50
    np.testing.assert_allclose(height[deep], 0.3, atol=1e-3)
    assert laid.least > 0.3 - 0.101
    assert laid.greatest < 0.3 + 0.101
    assert laid.deepest > 0.3 - 0.101
