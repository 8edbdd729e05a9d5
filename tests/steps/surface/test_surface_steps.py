"""The steps of the surface stage on small bodies: figures, notes, what is kept, what is refused."""

import numpy as np
import pytest
from canthus.geometry.cloud import Cloud
from canthus.geometry.errors import NotReady
from canthus.geometry.measures import edge_faults, genus, volume
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import icosphere
from canthus.steps.surface.close import Close
from canthus.steps.surface.drop_islands import DropIslands
from canthus.steps.surface.reduce import Reduce
from canthus.steps.surface.smooth import Smooth
from canthus.steps.workpiece import Workpiece

BALL = icosphere(5, 40.0)


def beside(one: Mesh, other: Mesh) -> Mesh:
    return Mesh(
        np.concatenate([one.vertices, other.vertices]),
        np.concatenate([one.triangles, other.triangles + len(one.vertices)]),
    )


def test_close_makes_a_head_of_a_cloud_and_says_what_was_seen():
    top = BALL.vertices[BALL.vertices[:, 2] > -20]
    piece = Close(resolution=2.0).apply(Workpiece(scan=Cloud(top, top / 40)))
    assert not edge_faults(piece.head)
    assert genus(piece.head) == 0
    assert piece.skin is piece.head
    assert piece.figures["resolution_mm"] == 2.0
    sphere, cap = 3 / 4 * 4 * np.pi * 1600, np.pi * (1600 - 400)  # z > -20 holds three quarters of the sphere's area
    unseen = np.pi * (np.sqrt(1200) - 2.5 * 2.0) ** 2  # what lies within two and a half steps of the rim is believed
    assert piece.figures["seen_percent"] == pytest.approx(100 * (1 - unseen / (sphere + cap)), abs=2)
    assert any("filled in" in note for note in piece.notes) == (piece.figures["seen_percent"] < 80)


def test_close_tells_which_gaps_it_filled_how_wide_they_are_and_where():
    """Two caps cut off a ball of radius 40 at 30 and 36 from its middle: flats of radius sqrt(40^2 - h^2)."""
    kept = (BALL.vertices[:, 2] > -30) & (BALL.vertices[:, 0] < 36)
    points = BALL.vertices[kept]
    piece = Close(resolution=1.5).apply(Workpiece(scan=Cloud(points, points / 40)))
    neck, side = piece.figures["fills"][:2]
    for fill, height, axis in ((neck, -30, 2), (side, 36, 0)):
        radius = np.sqrt(40**2 - height**2)
        middle = np.zeros(3)
        middle[axis] = height
        np.testing.assert_allclose(fill["place_mm"], middle, atol=1.5)
        assert 2 * radius - 8 < fill["across_mm"] < 2 * radius  # it begins two and a half spacings from the rim
        assert fill["farthest_mm"] == pytest.approx(radius, abs=2.0)
        assert fill["bulge_mm"] < 0.05 * fill["across_mm"]
    note = f"A gap {neck['across_mm']:.0f} mm across"
    assert any(each.startswith(note) for each in piece.notes)


def test_close_keeps_the_triangles_of_a_mesh_that_is_closed():
    piece = Close().apply(Workpiece(scan=beside(BALL, icosphere(2, 1.0).moved(np.eye(4) + np.eye(4, k=3) * 60))))
    assert len(piece.head.triangles) == len(BALL.triangles)
    assert piece.figures["pieces_dropped"] == 1
    assert "its own triangles were kept" in piece.notes[-1]


def test_close_surfaces_a_broken_mesh_anew():
    open_ball = BALL.kept(BALL.corners[:, :, 2].mean(axis=1) > -30)
    piece = Close(resolution=1.5).apply(Workpiece(scan=open_ball))
    assert not edge_faults(piece.head)
    cap = 10**2 * np.pi * (3 * 40 - 10) / 3  # reference_values.md, section 8
    assert volume(piece.head) == pytest.approx(4 / 3 * np.pi * 40**3 - cap, rel=0.01)
    assert "surfaced anew" in piece.notes[0]


def test_close_wants_a_scan():
    with pytest.raises(NotReady, match="load one first"):
        Close().apply(Workpiece())


def test_islands_are_dropped_and_counted():
    small = icosphere(2, 2.0).moved(np.eye(4) + np.eye(4, k=3) * 60)
    piece = DropIslands().apply(Workpiece(head=beside(BALL, small)))
    assert len(piece.head.triangles) == len(BALL.triangles)
    assert (piece.figures["pieces"], piece.figures["pieces_dropped"]) == (2, 1)
    kept = DropIslands(share=0.0).apply(Workpiece(head=beside(BALL, small)))
    assert len(kept.head.triangles) == len(BALL.triangles) + len(small.triangles)


def test_smooth_and_reduce_say_how_far_the_surface_moved():
    smooth = Smooth().apply(Workpiece(head=BALL))
    assert 0 <= smooth.figures["moved_rms_mm"] < 0.05
    fewer = Reduce(triangles=2000).apply(Workpiece(head=BALL))
    assert fewer.figures["triangles"] <= 2050
    assert fewer.figures["farthest_moved_mm"] < 0.4
    bounded = Reduce(deviation=0.3).apply(Workpiece(head=BALL))
    assert bounded.figures["farthest_moved_mm"] <= 0.3


@pytest.mark.parametrize("step", [Smooth, Reduce, DropIslands])
def test_steps_on_a_surface_refuse_a_cloud(step):
    with pytest.raises(NotReady, match="run close first"):
        step().apply(Workpiece(scan=Cloud(BALL.vertices)))


def test_a_broken_mesh_is_mended_before_it_is_closed_and_each_repair_is_listed():
    """Flipped and doubled faces alone are no reason to surface a mesh anew."""
    triangles = np.concatenate([BALL.triangles, BALL.triangles[:7]])
    triangles[100:130] = triangles[100:130, ::-1]
    piece = Close().apply(Workpiece(scan=Mesh(BALL.vertices, triangles)))
    np.testing.assert_array_equal(np.sort(piece.head.triangles, axis=0), np.sort(BALL.triangles, axis=0))
    counts = dict(zip(piece.figures["repairs"], piece.figures["repaired"], strict=True))
    assert counts == {"doubled triangles left out": 7, "flipped faces turned round": 30}
    assert all(len(place) == 3 for places in piece.figures["repair_places_mm"] for place in places)
    assert "30 flipped faces turned round, the first near" in piece.notes[0]
