"""Measures against closed forms (reference values, section 8: computed) and hand-made faults."""

import numpy as np
import pytest
from canthus.geometry.errors import BadMesh
from canthus.geometry.measures import (
    area,
    components,
    edge_faults,
    euler,
    genus,
    is_watertight,
    needs_closed,
    triangle_normals,
    volume,
)
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import box, icosphere


def test_a_box_has_the_volume_and_area_of_a_box():
    block = box((1, 2, 3), (3, 5, 7))
    assert volume(block) == pytest.approx(2 * 3 * 4, rel=1e-14)
    assert area(block) == pytest.approx(2 * (6 + 8 + 12), rel=1e-14)


def test_volume_keeps_its_digits_far_from_the_origin():
    assert volume(box((1e6, 1e6, 1e6), (1e6 + 1, 1e6 + 1, 1e6 + 1))) == pytest.approx(1.0, rel=1e-9)


def test_inside_out_is_a_negative_volume():
    ball = icosphere(3)
    assert volume(Mesh(ball.vertices, ball.triangles[:, ::-1])) == pytest.approx(-volume(ball))


def test_normals_of_a_ball_point_away_from_its_centre():
    ball = icosphere(2)
    assert (np.einsum("ij,ij->i", triangle_normals(ball), ball.corners.mean(axis=1)) > 0.9).all()


def test_a_closed_mesh_has_no_faults():
    assert not edge_faults(icosphere(2))
    assert is_watertight(icosphere(2))
    assert str(edge_faults(icosphere(0))) == "no faults"


def test_each_kind_of_fault_is_counted():
    ball = icosphere(1)
    without_one = Mesh(ball.vertices, ball.triangles[1:])
    assert len(edge_faults(without_one).open) == 3
    turned = ball.triangles.copy()
    turned[5] = turned[5][::-1]
    faults = edge_faults(Mesh(ball.vertices, turned))
    assert (len(faults.open), len(faults.overused), len(faults.flipped)) == (0, 0, 3)
    twice = Mesh(ball.vertices, np.concatenate([ball.triangles, ball.triangles[:1]]))
    assert len(edge_faults(twice).overused) == 3


def test_faults_are_named_with_count_and_place():
    ball = icosphere(1)
    with pytest.raises(BadMesh, match=r"the head is not a closed surface: 3 edges open, the first near \("):
        needs_closed(Mesh(ball.vertices, ball.triangles[1:]), "the head")
    with pytest.raises(BadMesh, match="no triangles"):
        needs_closed(Mesh(np.zeros((0, 3)), np.zeros((0, 3), int)), "the head")


def test_pieces_are_numbered_from_the_largest():
    small, large = icosphere(0), icosphere(1)
    both = Mesh(
        np.concatenate([small.vertices, large.vertices + 5]), np.concatenate([small.triangles, large.triangles + 12])
    )
    assert components(both).tolist() == [1] * 20 + [0] * 80
    assert euler(both) == 4
    assert genus(both) == 0
    assert not is_watertight(Mesh(np.zeros((0, 3)), np.zeros((0, 3), int)))
