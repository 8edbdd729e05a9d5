"""The vertex of a round crown, with and without a knob on it: the highest point of a sphere is known."""

import numpy as np
from canthus.anatomy.face.vertex_search import find_vertex
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import icosphere


def test_a_knob_that_hangs_on_the_crown_is_not_the_vertex():
    ball, knob = icosphere(6, 80.0), icosphere(3, 5.0)
    crown = ball.vertices + np.array([0.0, 0.0, 62.0])
    over = 62.0 + np.sqrt(80.0**2 - 38.0**2) + 12.0  # 7 mm higher than the crown
    top = knob.vertices + np.array([0.0, 38.0, over])
    assert top[:, 2].max() > crown[:, 2].max() + 6
    plain = Mesh(crown, ball.triangles)
    both = Mesh(np.concatenate([crown, top]), np.concatenate([ball.triangles, knob.triangles + len(crown)]))
    for head in (plain, both):
        place, _ = find_vertex(head, 1.0)
        assert np.linalg.norm(place - [0.0, 0.0, 142.0]) < 3.0
