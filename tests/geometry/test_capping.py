"""Rims closed by fans: closed, in the plane where that does, out before it where the skin stands in the way."""

import numpy as np
from canthus.geometry.measures import is_watertight, volume
from canthus.geometry.mending.intersections import self_intersections
from canthus.geometry.mesh import Mesh
from canthus.geometry.quad_meshes.capping import capped


def tube(lower_rim):
    """A tube 20 high with 24 sides and 8 rows; its lower rim is `lower_rim(x, y)` high."""
    around, rows = np.linspace(0, 2 * np.pi, 24, endpoint=False), np.linspace(0, 1, 9)
    x, y = 10 * np.cos(around), 10 * np.sin(around)
    vertices = np.concatenate([np.stack([x, y, lower_rim(x, y) * (1 - up) + 20 * up], axis=1) for up in rows])
    here = np.arange(24)
    after = np.roll(here, -1)
    quads = [np.stack([here, after, after + 24, here + 24], axis=1) + 24 * row for row in range(8)]
    return vertices, np.concatenate(quads)


def test_a_tube_becomes_a_prism():
    """24 sides of radius 10: 12 r² sin(15°) on 20 high."""
    mesh, beside = capped(*tube(lambda x, y: 0 * x))
    assert is_watertight(mesh)
    assert np.isclose(volume(mesh), 12 * 100 * np.sin(np.radians(15)) * 20)
    assert len(beside) == 2


def test_where_the_skin_stands_in_the_way_the_cap_goes_out_before_the_rim():
    """The row over the rim hangs in under it on one side, as skin drawn to a scan's cut does: a flat fan meets it."""
    vertices, quads = tube(lambda x, y: 0 * x)
    side = np.clip(vertices[:24, 0] / 10, 0, 1) ** 2
    vertices[:24, 2] = 4 * side
    vertices[24:48, 0] -= 8 * side
    vertices[24:48, 2] = 2.5 * (1 - side)
    mesh, _ = capped(vertices, quads)
    assert is_watertight(mesh)
    assert not len(self_intersections(mesh))
    flat = mesh.vertices.copy()
    flat[len(vertices)] = vertices[:24].mean(axis=0)
    assert len(self_intersections(Mesh(flat, mesh.triangles)))
