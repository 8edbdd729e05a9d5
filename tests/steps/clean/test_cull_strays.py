"""cull-strays as a step: removes or marks, clouds and meshes, and says how many."""

import numpy as np
import pytest
from canthus.geometry.cloud import Cloud
from canthus.geometry.errors import NotReady
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import icosphere
from canthus.steps.clean.cull_strays import CullStrays
from canthus.steps.workpiece import Workpiece


def capture():
    ball = icosphere(5, 60.0).vertices
    strays = np.random.default_rng(0).uniform(50, 200, (60, 3))
    return Cloud(np.concatenate([ball, strays]), colours=np.full((len(ball) + 60, 3), 90, np.uint8)), len(ball)


def test_strays_are_removed_with_all_that_belongs_to_them():
    cloud, good = capture()
    piece = CullStrays().apply(Workpiece(scan=cloud))
    assert len(piece.scan) == good
    assert len(piece.scan.colours) == good
    figures = piece.figures
    assert figures["lone_points"] + figures["cluster_points"] + figures["veil_points"] == 60


def test_marking_leaves_every_point_and_writes_a_column():
    cloud, good = capture()
    piece = CullStrays(mode="mark").apply(Workpiece(scan=cloud))
    assert len(piece.scan) == len(cloud)
    assert (piece.scan.columns["stray"][:good] == 0).all()
    assert (piece.scan.columns["stray"][good:] > 0).all()


def test_a_mesh_loses_its_small_flyers():
    ball, flyer = icosphere(4, 60.0), icosphere(1, 2.0)
    mesh = Mesh(
        np.concatenate([ball.vertices, flyer.vertices + 100]),
        np.concatenate([ball.triangles, flyer.triangles + len(ball.vertices)]),
    )
    piece = CullStrays().apply(Workpiece(scan=mesh))
    assert len(piece.scan.triangles) == len(ball.triangles)
    marked = CullStrays(mode="mark").apply(Workpiece(scan=mesh)).scan
    assert marked.columns["stray"].tolist() == [0] * len(ball.vertices) + [2] * len(flyer.vertices)


@pytest.mark.parametrize(("radius", "told"), [(2.0, False), (10.0, True)])
def test_a_loose_piece_as_large_as_a_lobe_is_told(radius, told):
    ball, loose = icosphere(4, 60.0), icosphere(1, radius)
    mesh = Mesh(
        np.concatenate([ball.vertices, loose.vertices + 100]),
        np.concatenate([ball.triangles, loose.triangles + len(ball.vertices)]),
    )
    notes = CullStrays(island=30.0).apply(Workpiece(scan=mesh)).notes
    assert [("at (100, 100, 100)" in note and "lower island" in note) for note in notes] == [True] * told


def test_there_must_be_a_scan():
    with pytest.raises(NotReady, match="load one first"):
        CullStrays().apply(Workpiece())
