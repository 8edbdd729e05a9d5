"""Roots of what hangs before the skin about an eye, on a block with a flake of known place."""

import numpy as np
from canthus.anatomy.eyes.globe_fit import AHEAD
from canthus.anatomy.lids.lid_cover import covered_about
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.booleans import union
from canthus.geometry.solids.primitives import box
from canthus.geometry.views.inside_view import frame_about, view_from_inside

BEHIND, REACH, NEAREST = np.array([0.0, 60.0, 0.0]), 94.0, 50.0
FLAT = box((-40.0, -12.0, -40.0), (40.0, 70.0, 40.0))


def covered(mesh):
    view = view_from_inside(mesh, BEHIND, AHEAD, REACH, pixel=0.003, widest=0.6, nearest=NEAREST, outer=True)
    return covered_about(mesh, view, frame_about(AHEAD), REACH, NEAREST)


def test_a_flake_is_not_believed_where_it_grows_out_and_only_there():
    """It leaves the skin at z = 8 to 14 and hangs downwards before it, 45 degrees."""
    flake = box((-4.0, -22.0, 8.0), (4.0, -11.0, 14.0))
    flake = Mesh(flake.vertices + [0.0, 0.0, 1.0] * (flake.vertices[:, 1:2] + 12.0), flake.triangles)
    found = covered(union(FLAT, flake))
    up = frame_about(AHEAD)[1] @ [0.0, 0.0, 1.0]
    heights = up * found.places[:, 1]
    assert len(found.places)
    assert 7.0 < heights.min() < 10.0
    assert heights.max() < 11.5
    assert np.abs(found.places[:, 0]).max() < 5.0
    root, beside = np.array([[0.0, up * 9.5]]), np.array([[0.0, -8.0], [12.0, 8.0]])
    assert found.share(root)[0] > 0.9
    assert (found.share(beside) == 0).all()


def test_where_nothing_hangs_all_is_believed():
    assert not len(covered(FLAT).places)
