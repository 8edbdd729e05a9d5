"""Genus before and after walls are put up, on surfaces whose genus is known."""

import numpy as np
import pytest
from canthus.geometry.measures import edge_faults, genus, volume
from canthus.geometry.mending.intersections import self_intersections
from canthus.geometry.surfacing.banding import followed
from canthus.geometry.surfacing.handles import short_loops
from canthus.geometry.surfacing.isosurface import isosurface
from canthus.geometry.surfacing.walls import drawn_without_handles, outermost

ORIGIN = np.full(3, -1.5)


def drawn(form, step, longest=1e9):
    """The surface of a form, negative inside, before and after."""

    def field(nodes):
        return form(*(ORIGIN + nodes * step).T)

    cells = np.stack(np.meshgrid(*[np.arange(int(3 / step))] * 3, indexing="ij"), -1).reshape(-1, 3)
    band = followed(cells, field)
    before = drawn_without_handles(band, field, ORIGIN, step, 0.0)
    return before.mesh, drawn_without_handles(band, field, ORIGIN, step, longest)


def ring(x, y, z):
    """Distance to a torus in the plane z = 0."""
    return np.hypot(np.hypot(x, y) - 1.0, z) - 0.3


def test_a_ring_becomes_a_sphere():
    """A torus has genus 1 (Euler characteristic 0): one wall or one gap makes a sphere of it."""
    before, after = drawn(ring, 0.08)
    assert genus(before) == 1
    assert after.walls == 1
    assert genus(after.mesh) == 0
    assert not edge_faults(after.mesh)
    assert volume(after.mesh) == pytest.approx(volume(before), rel=0.2)


def test_a_long_loop_is_left():
    before, after = drawn(ring, 0.08, longest=1.0)
    assert after.walls == 0
    np.testing.assert_array_equal(after.mesh.vertices, before.vertices)


def bored(x, y, z):
    """A bore of radius 0.2 through a plate 0.6 thick: its loop is 2 pi 0.2 long, the way round the plate far longer."""
    plate = np.maximum(np.maximum(np.abs(x), np.abs(y)) - 1.2, np.abs(z) - 0.3)
    return np.maximum(plate, 0.2 - np.hypot(x - 0.3, y + 0.2))


def test_a_small_tunnel_through_a_thick_plate_is_filled():
    before, after = drawn(bored, 0.065, longest=2.0)
    assert genus(before) == 1
    assert (after.walls, genus(after.mesh)) == (1, 0)
    assert volume(before) < volume(after.mesh) < 2.4**2 * 0.6 * 1.05
    far = np.hypot(before.vertices[:, 0] - 0.3, before.vertices[:, 1] + 0.2) > 0.7
    kept = {tuple(place) for place in after.mesh.vertices.tolist()}
    assert kept.issuperset(map(tuple, before.vertices[far].tolist()))  # nothing else is touched


def test_a_thin_bridge_between_two_lumps_of_one_body_is_parted():
    """A horseshoe whose ends a thin rod joins: the rod goes, the bow stays."""

    def form(x, y, z):
        bow = np.maximum(ring(x, y, z), np.minimum(0.35 - np.abs(y), x))
        rod = np.maximum(np.hypot(x - 1.0, z) - 0.1, np.abs(y) - 0.5)
        return np.minimum(bow, rod)

    before, after = drawn(form, 0.05, longest=1.5)
    assert genus(before) == 1
    assert (after.walls, genus(after.mesh)) == (1, 0)
    assert 0.9 * volume(before) < volume(after.mesh) < volume(before)


def test_a_noisy_lump_loses_all_its_handles():
    values = np.pad(np.random.default_rng(4).standard_normal((9, 9, 9)) - 0.9, 8, constant_values=1.0)
    before, _ = outermost(isosurface(values))
    assert genus(before) == 7

    def field(nodes):
        return values[tuple(np.clip(nodes, 0, 24).T)]

    band = followed(np.argwhere(np.ones((23, 23, 23))), field)
    after = drawn_without_handles(band, field, np.zeros(3), 1.0, 1e9)
    assert genus(after.mesh) == 0
    assert not edge_faults(after.mesh)


def test_the_way_round_a_ring_is_found_and_none_on_a_sphere():
    before, _ = drawn(ring, 0.08)
    lengths = sorted(
        float(np.linalg.norm(before.vertices[loop] - np.roll(before.vertices[loop], 1, axis=0), axis=1).sum())
        for loop in short_loops(before, 1e9)
    )
    assert 2 * np.pi * 0.3 * 0.95 < lengths[0] < 2 * np.pi * 0.3 * 1.5  # once round the tube, along the edges
    ball, _ = drawn(lambda x, y, z: np.sqrt(x * x + y * y + z * z) - 1, 0.1)
    assert short_loops(ball, 1e9) == []


def test_every_short_tunnel_is_found_at_once_wherever_it_lies():
    """Four bores of radius 0.15 through a plate, whose ways round the plate are far longer: a loop for each."""
    places = [(0.8, 0.8), (-0.8, 0.7), (-0.7, -0.8), (0.6, -0.6)]

    def form(x, y, z):
        plate = np.maximum(np.maximum(np.abs(x), np.abs(y)) - 1.2, np.abs(z) - 0.3)
        return np.max([plate, *(0.15 - np.hypot(x - px, y - py) for px, py in places)], axis=0)

    before, _ = drawn(form, 0.05)
    assert genus(before) == 4
    middles = [before.vertices[loop].mean(axis=0)[:2] for loop in short_loops(before, 1.6)]
    assert len(middles) == 4
    for place in places:
        assert np.linalg.norm(np.array(middles) - place, axis=1).min() < 0.1


def test_a_wall_leaves_no_faces_that_cross():
    assert not len(self_intersections(drawn(bored, 0.065, longest=2.0)[1].mesh))
