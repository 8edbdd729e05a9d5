"""Genus before and after cutting, on surfaces whose genus is known."""

import numpy as np
import pytest
from canthus.geometry.handles import without_handles
from canthus.geometry.isosurface import isosurface
from canthus.geometry.measures import edge_faults, genus, volume


def ring(major, minor, count=36):
    """Distance to a torus in the plane z = 0."""
    axis = np.linspace(-1.5, 1.5, count)
    x, y, z = np.meshgrid(axis, axis, axis, indexing="ij")
    return np.hypot(np.hypot(x, y) - major, z) - minor, axis[1] - axis[0]


def test_a_ring_becomes_a_sphere():
    """A torus has genus 1 (Euler characteristic 0): one cut makes a sphere of it."""
    field, step = ring(1.0, 0.3)
    mesh = isosurface(field, 0.0, (-1.5, -1.5, -1.5), step)
    assert genus(mesh) == 1
    closed, cuts = without_handles(mesh, 1e9)
    assert cuts == 1
    assert genus(closed) == 0
    assert not edge_faults(closed)
    assert volume(closed) == pytest.approx(volume(mesh), rel=0.05)


def test_a_long_loop_is_left():
    field, step = ring(1.0, 0.3)
    mesh = isosurface(field, 0.0, (-1.5, -1.5, -1.5), step)
    same, cuts = without_handles(mesh, 1.0)
    assert cuts == 0
    assert same is mesh


def test_a_small_tunnel_through_a_thick_plate_is_filled():
    """A bore of radius 0.2 through a plate 0.6 thick: its loop is 2 pi 0.2 long, the way round the plate far longer."""
    axis = np.linspace(-1.5, 1.5, 46)
    x, y, z = np.meshgrid(axis, axis, axis, indexing="ij")
    plate = np.maximum(np.maximum(np.abs(x), np.abs(y)) - 1.2, np.abs(z) - 0.3)
    bored = np.maximum(plate, 0.2 - np.hypot(x - 0.3, y + 0.2))
    mesh = isosurface(bored, 0.0, (-1.5,) * 3, axis[1] - axis[0])
    assert genus(mesh) == 1
    closed, cuts = without_handles(mesh, 2.0)
    assert (cuts, genus(closed)) == (1, 0)
    assert volume(closed) > volume(mesh)


def test_a_noisy_lump_loses_all_its_handles():
    values = np.pad(np.random.default_rng(4).standard_normal((9, 9, 9)) - 0.9, 1, constant_values=1.0)
    from canthus.geometry.closing import outermost

    mesh, _ = outermost(isosurface(values))
    before = genus(mesh)
    assert before == 7
    closed, cuts = without_handles(mesh, 1e9)
    assert cuts == before
    assert genus(closed) == 0
    assert not edge_faults(closed)


def test_a_sphere_stays_as_it_is():
    axis = np.linspace(-1.5, 1.5, 20)
    x, y, z = np.meshgrid(axis, axis, axis, indexing="ij")
    mesh = isosurface(np.sqrt(x * x + y * y + z * z) - 1)
    same, cuts = without_handles(mesh, 1e9)
    assert cuts == 0
    assert same is mesh
