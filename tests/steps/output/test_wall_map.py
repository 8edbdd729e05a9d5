"""The wall under each vertex, where it is known by itself."""

import numpy as np
import pytest
from canthus.geometry.mesh import Mesh
from canthus.geometry.printing.cavities import hollowed
from canthus.geometry.solids.primitives import icosphere
from canthus.steps.output.check import Check
from canthus.steps.output.wall_map import with_walls
from canthus.steps.workpiece import Workpiece


def shell(outer, inner):
    ball = icosphere(4)
    return hollowed(Mesh(outer * ball.vertices, ball.triangles), Mesh(inner * ball.vertices, ball.triangles))


def test_a_shell_has_its_wall_everywhere_on_both_sides():
    """Between spheres about one centre the wall is the difference of the radii; facets take off 0.1 % of 20 mm."""
    walls = with_walls(shell(20.0, 18.0), 0.8).columns["wall_mm"]
    assert len(walls) == 2 * len(icosphere(4).vertices)
    assert walls == pytest.approx(np.full(len(walls), 2.0), abs=0.03)


def test_a_solid_is_thicker_than_is_told_apart():
    ball = icosphere(4)
    walls = with_walls(Mesh(20 * ball.vertices, ball.triangles), 0.8).columns["wall_mm"]
    assert walls == pytest.approx(np.full(len(walls), 8.0))


def test_check_writes_it_only_when_asked():
    piece = Workpiece(head=shell(20.0, 18.0))
    assert "wall_mm" not in Check().apply(piece).head.columns
    assert "wall_mm" in Check(walls=True).apply(piece).head.columns
