"""The outer wall of a shell told from the inner one."""

import numpy as np
from canthus.geometry.distances.sampling import spread_over
from canthus.geometry.measures import volume
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import icosphere
from canthus.geometry.surfacing.visibility import outer_wall, seen_share
from canthus.steps.surface.close import Close
from canthus.steps.workpiece import Workpiece


def shell(lowest=-34.0):
    """A hollow ball, walls 3 mm thick, open below: outer radius 40, inner 37, faces outward and inward."""
    outer, inner = icosphere(5, 40.0), icosphere(5, 37.0)
    mesh = Mesh(
        np.concatenate([outer.vertices, inner.vertices]),
        np.concatenate([outer.triangles, inner.triangles[:, ::-1] + len(outer.vertices)]),
    )
    return mesh.kept(mesh.corners[:, :, 2].mean(axis=1) > lowest)


def test_the_inside_of_a_shell_is_hidden_and_its_outside_is_seen():
    ball = icosphere(5, 40.0).vertices
    points, normals = np.concatenate([ball, ball * 37 / 40]), np.concatenate([ball, -ball]) / 40
    share = seen_share(points, normals, 4.0)
    assert share[: len(ball)].min() > 0.9
    assert share[len(ball) :].max() < 0.1
    wall = outer_wall(points, normals, 1.4)
    assert wall[: len(ball)].all()
    assert not wall[len(ball) :].any()


def test_an_inner_wall_seen_through_a_wide_opening_is_inner_all_the_same():
    """An opening three quarters as wide as the ball: a tenth of the inside is well seen, by chance here and there."""
    mesh = shell(lowest=-27.0)
    cloud = spread_over(mesh, 1.2)
    share = seen_share(cloud.points, cloud.normals, 6 * 1.2)
    outward = np.einsum("ij,ij->i", cloud.points, cloud.normals) > 0
    assert (share[~outward] > 0.15).mean() > 0.05
    wall = outer_wall(cloud.points, cloud.normals, 1.2)
    assert wall[outward].all()
    assert wall[~outward].mean() < 0.01


def test_a_thin_lobe_close_before_a_shell_keeps_its_back():
    """An ear over a shell: a disc 2 mm thick, 5 mm off, whose back is seen only past its rim."""
    ball, disc = shell(), icosphere(4, 1.0)
    lobe = Mesh(disc.vertices * [1.0, 12.0, 12.0] + [46.0, 0, 0], disc.triangles)
    cloud, ear = spread_over(ball, 0.9), spread_over(lobe, 0.9)
    points, normals = np.concatenate([cloud.points, ear.points]), np.concatenate([cloud.normals, ear.normals])
    wall = outer_wall(points, normals, 0.9)
    assert wall[len(cloud.points) :].mean() > 0.98
    outward = np.einsum("ij,ij->i", cloud.points, cloud.normals) > 0
    assert wall[: len(cloud.points)][outward].mean() > 0.99


def test_close_fills_a_hollow_shell():
    piece = Close(resolution=1.5).apply(Workpiece(scan=shell()))
    full = 4 / 3 * np.pi * 40**3 - 6**2 * np.pi * (3 * 40 - 6) / 3  # the ball less the cap below -34
    assert abs(volume(piece.head) / full - 1) < 0.03
    assert any("hollow shell" in note for note in piece.notes)
