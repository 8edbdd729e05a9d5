"""Meshes broken in known ways, mended and counted; another library agrees that they are whole."""

import numpy as np
import pytest
import trimesh
from canthus.geometry.measures import components, edge_faults, volume
from canthus.geometry.mending.repairing import repaired
from canthus.geometry.mending.slivers import flat_triangles
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids.primitives import icosphere

BALL = icosphere(3, 10.0)
CUBE = trimesh.creation.box((1.0, 1.0, 1.0))


def beside(*meshes: Mesh) -> Mesh:
    first = np.cumsum([0, *(len(mesh.vertices) for mesh in meshes)])
    return Mesh(
        np.concatenate([mesh.vertices for mesh in meshes]),
        np.concatenate([mesh.triangles + start for mesh, start in zip(meshes, first, strict=False)]),
    )


def cube(*corner: float) -> Mesh:
    return Mesh(np.asarray(CUBE.vertices) + 0.5 + corner, np.asarray(CUBE.faces))


def whole(mesh: Mesh) -> bool:
    """What trimesh says of a mesh as it stands: every edge twice, all faces the same way round."""
    other = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
    return bool(other.is_watertight and other.is_winding_consistent)


def test_a_sound_mesh_is_given_back_itself():
    assert repaired(BALL) == (BALL, [])


def test_every_fault_is_mended_and_counted_where_it_is():
    """A ball as loose triangles, 40 of them flipped, 5 doubled, 3 with a corner named twice."""
    rng = np.random.default_rng(0)
    soup = Mesh(BALL.corners.reshape(-1, 3), np.arange(3 * len(BALL.triangles)).reshape(-1, 3))
    triangles = soup.triangles.copy()
    flipped = rng.choice(len(triangles), 40, replace=False)
    triangles[flipped] = triangles[flipped, ::-1]
    empty = triangles[:3, [0, 0, 1]]
    broken = Mesh(soup.vertices, np.concatenate([triangles, triangles[100:105], empty]))
    mesh, repairs = repaired(broken)
    assert whole(mesh)
    assert volume(mesh) == pytest.approx(volume(BALL))
    counts = {repair.what.split(" ")[0]: repair.count for repair in repairs}
    assert counts["coinciding"] == len(soup.vertices) - len(BALL.vertices)
    assert counts["flipped"] == 40
    assert counts["doubled"] == 5
    turned = next(repair for repair in repairs if repair.what.startswith("flipped"))
    middles = {tuple(place) for place in np.round(BALL.corners.mean(axis=1)[flipped], 6).tolist()}
    assert {tuple(place) for place in np.round(turned.places, 6).tolist()} == middles


def test_a_corner_named_twice_is_left_out_where_nothing_is_welded():
    mesh, repairs = repaired(Mesh(BALL.vertices, np.concatenate([BALL.triangles, [[0, 0, 5]]])))
    assert [(repair.what, repair.count) for repair in repairs] == [("empty triangles left out", 1)]
    assert whole(mesh)


def test_two_cubes_along_one_edge_come_apart():
    """Four triangles at the common edge; each cube is closed again and holds its own volume."""
    mesh, repairs = repaired(beside(cube(0, 0, 0), cube(1, 1, 0)))
    assert any("1 edges of more than two triangles" in str(repair) for repair in repairs)
    assert not edge_faults(mesh)
    assert whole(mesh)
    assert components(mesh).max() == 1
    assert volume(mesh) == pytest.approx(2, rel=0.01)


def test_a_body_that_touches_itself_along_an_edge_stays_one():
    """Six cubes, two of which meet in one edge only: what is body on either side of it keeps together."""
    places = ((0, 0, 0), (1, 0, 0), (0, 0, 1), (1, 0, 1), (1, 1, 1), (0, 1, 0))
    solid = trimesh.boolean.union([CUBE.copy().apply_translation(place) for place in places], engine="manifold")
    welded = trimesh.Trimesh(solid.vertices, solid.faces, merge_norm=True)
    mesh, _ = repaired(Mesh(np.asarray(welded.vertices), np.asarray(welded.faces)))
    assert not edge_faults(mesh)
    assert volume(mesh) == pytest.approx(6, rel=0.02)


def test_two_balls_in_one_vertex_come_apart():
    top, bottom = int(BALL.vertices[:, 2].argmax()), int(BALL.vertices[:, 2].argmin())
    shift = BALL.vertices[top] - BALL.vertices[bottom]
    mesh, repairs = repaired(beside(BALL, Mesh(BALL.vertices + shift, BALL.triangles)))
    assert [repair.count for repair in repairs] == [1, 1]  # made one by place, then parted
    assert components(mesh).max() == 1
    assert whole(mesh)


def test_an_inside_out_ball_is_turned():
    mesh, repairs = repaired(Mesh(BALL.vertices, BALL.triangles[:, ::-1]))
    assert volume(mesh) > 0
    assert repairs[-1].count == len(BALL.triangles)


def test_a_band_of_one_side_is_left_as_it_is():
    """A Moebius band cannot be turned to agree with itself; it stays and nothing is claimed."""
    turn = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    across = np.array([-1.0, 1.0])
    ring = 5 + 0.5 * across * np.cos(turn / 2)[:, None]
    places = np.stack(
        [ring * np.cos(turn)[:, None], ring * np.sin(turn)[:, None], 0.5 * across * np.sin(turn / 2)[:, None]], -1
    )
    here, ahead = np.arange(24), np.roll(np.arange(24), -1)
    one, other = np.where(ahead == 0, 1, 2 * ahead), np.where(ahead == 0, 0, 2 * ahead + 1)
    triangles = np.concatenate([np.stack([2 * here, one, other], 1), np.stack([2 * here, other, 2 * here + 1], 1)])
    band = Mesh(places.reshape(-1, 3), triangles)
    _, repairs = repaired(band)
    assert not any("flipped" in repair.what for repair in repairs)


def test_colours_and_columns_stay_with_their_vertices():
    two = beside(cube(0, 0, 0), cube(1, 1, 0))
    colours = np.repeat(np.array([[9, 9, 9], [200, 200, 200]], np.uint8), 8, axis=0)
    mesh, _ = repaired(Mesh(two.vertices, two.triangles, colours, {"side": np.arange(16) >= 8}))
    assert len(mesh.colours) == len(mesh.columns["side"]) == len(mesh.vertices)


def with_caps(mesh, rows):
    """A vertex put onto an edge of each of these triangles: the one across it is parted, the triangle gets a cap."""
    vertices, triangles = list(mesh.vertices), [list(each) for each in mesh.triangles.tolist()]
    for row in rows:
        a, b, _ = triangles[row]
        vertices.append((mesh.vertices[a] + mesh.vertices[b]) / 2)
        new = len(vertices) - 1
        other = next(each for each in range(len(triangles)) if each != row and {a, b} <= set(triangles[each]))
        (d,) = set(triangles[other]) - {a, b}
        triangles[other] = [b, new, d]
        triangles += [[new, a, d], [a, new, b]]
    return Mesh(np.array(vertices), np.array(triangles))


def with_needles(mesh, rows):
    """The two triangles at an edge of each of these parted by a vertex as good as at the edge's own end."""
    vertices, triangles = list(mesh.vertices), [list(each) for each in mesh.triangles.tolist()]
    for row in rows:
        a, b, c = triangles[row]
        vertices.append(mesh.vertices[a] + 1e-8 * (mesh.vertices[b] - mesh.vertices[a]))
        new = len(vertices) - 1
        other = next(each for each in range(len(triangles)) if each != row and {a, b} <= set(triangles[each]))
        (d,) = set(triangles[other]) - {a, b}
        triangles[row], triangles[other] = [new, b, c], [b, new, d]
        triangles += [[a, new, c], [new, a, d]]
    return Mesh(np.array(vertices), np.array(triangles))


@pytest.mark.parametrize(("planted", "count"), [(with_caps, 12), (with_needles, 24)])
def test_triangles_without_area_go_and_the_ball_stays_closed(planted, count):
    """Twelve planted far from each other; trimesh finds the mesh whole and without degenerate faces afterwards."""
    rows = range(0, len(BALL.triangles), len(BALL.triangles) // 12 + 1)
    broken = planted(BALL, rows)
    assert whole(broken)
    assert len(flat_triangles(broken)) == count
    mesh, repairs = repaired(broken)
    (repair,) = repairs
    assert repair.what == "flat triangles flipped or collapsed"
    assert repair.count == count
    near = np.linalg.norm(repair.places[:, None] - BALL.corners[list(rows)].mean(axis=1), axis=2).min(axis=1)
    assert near.max() < 2.0  # where they were planted: an edge is 1.4 mm long
    assert whole(mesh)
    assert not len(flat_triangles(mesh))
    assert volume(mesh) == pytest.approx(volume(BALL), rel=1e-6)
    assert trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False).nondegenerate_faces().all()


def test_a_flat_triangle_on_a_rim_is_left_out():
    flat = Mesh([[0, 0, 0], [2, 0, 0], [1, 2, 0], [1, 0, 0]], [[0, 3, 2], [3, 1, 2], [0, 1, 3]])
    mesh, repairs = repaired(flat)
    assert [repair.count for repair in repairs] == [1]
    assert len(mesh.triangles) == 2


def test_a_needle_whose_collapse_would_pinch_the_surface_stays():
    """A tube of three sides, as good as shut in the middle: making the ring's corners one would part it."""
    ring = 1e-8 * np.array([[1, 0, 0], [-0.5, 0.87, 0], [-0.5, -0.87, 0]])
    low, high = ring * 1e8 + [0, 0, -1], ring * 1e8 + [0, 0, 1]
    vertices = np.concatenate([low, ring, high])
    sides = [[first + k, first + (k + 1) % 3, first + 3 + (k + 1) % 3] for first in (0, 3) for k in range(3)] + [
        [first + k, first + 3 + (k + 1) % 3, first + 3 + k] for first in (0, 3) for k in range(3)
    ]
    tube = Mesh(vertices, np.array([*sides, [0, 2, 1], [6, 7, 8]]))
    assert whole(tube)
    mesh, _ = repaired(tube)
    assert whole(mesh)
    assert components(mesh).max() == 0
