"""The parts of a demo head at 1/6, from hollow to file: wall, volume, keys, plugs, and files read by others."""

from itertools import combinations

import lib3mf
import numpy as np
import pytest
import trimesh
from canthus.geometry.distances.rays import RayCaster
from canthus.geometry.distances.sampling import places_over
from canthus.geometry.measures import is_watertight, volume
from canthus.geometry.printing.cavities import closed_cavities
from canthus.geometry.solids.booleans import intersection
from canthus.geometry.transforms import rotation, transform
from canthus.job.run import run
from canthus.steps.output.export import Export
from canthus.steps.output.hollow import Hollow
from canthus.steps.output.key import Key
from canthus.steps.output.vent import Vent
from canthus.steps.workpiece import Landmark, Workpiece
from demo_heads import demo_head
from scipy.ndimage import label
from scipy.spatial import cKDTree

WALL, CELL = 2.0, 0.4
SIXTH = np.diag([1 / 6, 1 / 6, 1 / 6, 1.0])


@pytest.fixture(scope="module")
def solid():
    truth = demo_head(3, 5.0)
    marks = {name: Landmark(tuple((np.asarray(place) / 6).tolist())) for name, place in truth.truth.landmarks.items()}
    head = truth.mesh.moved(SIXTH)
    return Workpiece(head=head, skin=head, landmarks=marks, scale=1 / 6)


@pytest.fixture(scope="module")
def hollow(solid):
    return run([Hollow(wall=WALL, narrowest=0.0, cell=CELL)], solid)


@pytest.fixture(scope="module")
def parts(hollow):
    return run([Vent(plugs="taper"), Key()], hollow)


def dots(mesh, spacing):
    """A tree of places so close on a mesh that distances to them are distances to it, and little more."""
    chosen, shares = places_over(mesh, int(mesh_area(mesh) / spacing**2))
    return cKDTree(np.concatenate([np.einsum("nc,nci->ni", shares, mesh.corners[chosen]), mesh.vertices]))


def mesh_area(mesh):
    return float(trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False).area)


def test_the_wall_is_as_thick_as_set_and_the_hollow_as_large(solid, hollow):
    """The bar of issue 5 on the demo head, told by scipy's tree and a flooded grid: volume within 0.5 %, error of the
    wall half a voxel in the mean, never under 95 % of the set wall.
    """
    (cavity,) = closed_cavities(hollow.head)
    skin = dots(solid.head, 0.2)
    # Dots so far apart make a wall of 2 mm look thicker by less than spacing² / (2 wall).
    wall = skin.query(np.concatenate([cavity.vertices, cavity.corners.mean(axis=1)]), distance_upper_bound=1.5 * WALL)[
        0
    ]
    assert wall.min() >= 0.95 * WALL
    assert np.abs(wall - WALL).mean() <= CELL / 2
    step = 0.6
    low, high = solid.head.vertices.min(axis=0) - 3, solid.head.vertices.max(axis=0) + 3
    axes = [np.arange(low[k], high[k], step) for k in range(3)]
    nodes = np.stack(np.meshgrid(*axes, indexing="ij"), axis=-1)
    far = skin.query(nodes.reshape(-1, 3), distance_upper_bound=WALL)[0].reshape(nodes.shape[:3]) >= WALL
    rooms = label(far)[0]
    inside = far & (rooms != rooms[0, 0, 0])
    assert volume(cavity) == pytest.approx(float(inside.sum()) * step**3, rel=5e-3)


def test_the_parts_share_nothing_and_go_together_one_way_only(parts):
    meshes = parts.all_parts()
    assert set(meshes) == {"head", "skull-cap", "plug-1", "plug-2"}
    for one, other in combinations(meshes.values(), 2):
        assert volume(intersection(one, other)) == pytest.approx(0, abs=1e-9)
    key = parts.history[-1].figures
    up, at, cap = np.array(key["cut_up"]), np.array(key["cut_at_mm"]), meshes["skull-cap"]
    for out in (0.3, 1.0, 2.5):
        moved = cap.moved(transform(np.eye(3), out * up))
        assert volume(intersection(meshes["head"], moved)) == pytest.approx(0, abs=1e-9)
    for turn in (-10, 10, 90, 180, 270):
        linear = rotation(up, np.radians(turn))
        assert volume(intersection(meshes["head"], cap.moved(transform(linear, at - linear @ at)))) > 0.5


def test_holes_and_parting_line_keep_off_the_face(solid, parts):
    """Looked at from in front and from either side of that, every hole's mouth lies behind or turned away; the parting
    passes over all landmarks of the face but the crown, and over the tops of the ears (31 mm over the tragion at life
    size, half of ANSUR II's mean ear length of 62).
    """
    head, holes = RayCaster(solid.head), parts.history[-2].figures["holes"]
    assert len(holes) == 2
    for hole in holes:
        at, way = np.array(hole["at_mm"]), np.array(hole["way"])
        for view in ((0, -1, 0), (0.64, -0.77, 0), (-0.64, -0.77, 0)):
            shut = np.isfinite(head.first_hit((at + 0.02 * way)[None], np.array([view], float))[0][0])
            assert shut or way @ view < 0.1
    key = parts.history[-1].figures
    up, on = np.array(key["cut_up"]), np.array(key["cut_at_mm"])
    for name, mark in solid.landmarks.items():
        over = np.array([0, 0, 31 / 6]) if name.startswith("tragion") else np.zeros(3)
        assert name == "vertex" or (np.array(mark.position) + over - on) @ up < 0
    assert not any("crosses the face" in note for note in parts.notes)


def test_others_read_the_files_without_a_word_and_find_the_same_volumes(parts, tmp_path):
    """lib3mf (3MF Consortium) in strict mode, trimesh for STL and PLY; STL of 84 + 50 n bytes, volumes to 1e-6."""
    Export(folder=str(tmp_path)).apply(parts)
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(tmp_path / f"{parts.name}.3mf"))
    assert reader.GetWarningCount() == 0
    objects, found = model.GetMeshObjects(), {}
    while objects.MoveNext():
        each = objects.GetCurrentMeshObject()
        assert each.IsManifoldAndOriented()
        points = np.array([tuple(vertex.Coordinates) for vertex in each.GetVertices()])
        faces = np.array([tuple(face.Indices) for face in each.GetTriangleIndices()])
        found[each.GetName()] = trimesh.Trimesh(points, faces, process=False).volume
    assert set(found) == set(parts.all_parts())
    for name, mesh in parts.all_parts().items():
        assert is_watertight(mesh)
        assert (tmp_path / f"{name}.stl").stat().st_size == 84 + 50 * len(mesh.triangles)
        for suffix in ("stl", "ply"):
            back = trimesh.load_mesh(tmp_path / f"{name}.{suffix}")
            assert back.volume == pytest.approx(volume(mesh), rel=1e-6)
        assert found[name] == pytest.approx(volume(mesh), rel=1e-6)
