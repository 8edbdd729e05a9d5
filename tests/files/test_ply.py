"""PLY read and written, against the format's description (Turk 1994, paulbourke.net/dataformats/ply)."""

import struct

import numpy as np
import pytest
import trimesh
from canthus.files.ply_body import records_of
from canthus.files.ply_header import header_of
from canthus.files.reading import read, reading_of
from canthus.files.writing import write
from canthus.geometry.cloud import Cloud
from canthus.geometry.mesh import Mesh
from captures import face_range_map, face_range_map_file

ODD_HEADER = """ply
format {order} 1.0
comment made by hand
obj_info odd
element camera 1
property float view_px
property int height
element vertex 4
property float32 x
property float64 y
property float32 z
property uint8 red
property uchar green
property uint8 blue
property int16 mark
element edge 1
property int vertex1
property int vertex2
element face 2
property uchar kind
property list uint8 int32 vertex_index
property list uchar float texcoord
end_header
"""


def odd_file(order: str) -> bytes:
    """A triangle and a quad with a camera before, an edge between, and texture places after."""
    header = ODD_HEADER.format(order=order).encode()
    points = [(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0.5)]
    faces = [(7, (0, 1, 2), (0.5,)), (8, (0, 1, 2, 3), ())]
    if order == "ascii":
        lines = ["1.5 640", *(f"{x} {y} {z} {10 * i} 20 30 {-i}" for i, (x, y, z) in enumerate(points)), "0 1"]
        lines += [f"{k} {len(c)} {' '.join(map(str, c))} {len(t)} {' '.join(map(str, t))}" for k, c, t in faces]
        return header + ("\n".join(lines) + "\n").encode()
    mark = "<" if "little" in order else ">"
    body = struct.pack(mark + "fi", 1.5, 640)
    for i, (x, y, z) in enumerate(points):
        body += struct.pack(mark + "fdfBBBh", x, y, z, 10 * i, 20, 30, -i)
    body += struct.pack(mark + "ii", 0, 1)
    for kind, corners, places in faces:
        body += struct.pack(
            f"{mark}BB{len(corners)}iB{len(places)}f", kind, len(corners), *corners, len(places), *places
        )
    return header + body


@pytest.mark.parametrize("order", ["ascii", "binary_little_endian", "binary_big_endian"])
def test_all_orders_synonyms_and_elements_that_are_passed_over(tmp_path, order):
    path = tmp_path / "odd.ply"
    path.write_bytes(odd_file(order))
    mesh = read(path)
    assert isinstance(mesh, Mesh)
    np.testing.assert_array_equal(mesh.vertices, [(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0.5)])
    assert len(mesh.triangles) == 3
    np.testing.assert_array_equal(mesh.colours[:, 0], [0, 10, 20, 30])
    np.testing.assert_array_equal(mesh.columns["mark"], [0, -1, -2, -3])


@pytest.mark.parametrize("ending", [b"\r\n", b"\r"])
def test_other_line_endings_in_the_header_of_a_binary_file(tmp_path, ending):
    data = odd_file("binary_big_endian")
    start = data.index(b"end_header\n") + len(b"end_header\n")
    path = tmp_path / "odd.ply"
    path.write_bytes(data[:start].replace(b"\n", ending) + data[start:])
    assert len(read(path).vertices) == 4


def test_lists_of_mixed_lengths_are_read_as_by_a_plain_loop():
    """Ten thousand faces of 3 to 6 corners in no order; the loop is the reference."""
    rng = np.random.default_rng(1)
    lengths = rng.integers(3, 7, 10_000)
    faces = [rng.integers(0, 50, length).tolist() for length in lengths]
    header = (
        "ply\nformat binary_little_endian 1.0\nelement face 10000\nproperty list uchar int vertex_indices\nend_header\n"
    )
    data = header.encode() + b"".join(struct.pack(f"<B{len(face)}i", len(face), *face) for face in faces)
    blocks = records_of(data, header_of(data))["face"].lists["vertex_indices"]
    for block in blocks:
        assert block.tolist() == [face for face in faces if len(face) == block.shape[1]]
    assert sum(len(block) for block in blocks) == 10_000


def test_a_cloud_comes_back_with_all_it_had(tmp_path):
    rng = np.random.default_rng(2)
    normals = rng.normal(size=(500, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    cloud = Cloud(
        rng.normal(size=(500, 3)) * 100,
        normals,
        rng.integers(0, 256, (500, 3)).astype(np.uint8),
        {"quality": rng.random(500), "view": rng.integers(0, 2, 500).astype(np.int32), "hair": rng.random(500) > 0.5},
        np.array([[0.0, -600.0, 0.0], [600.0, 0.0, 50.0]]),
    )
    write(tmp_path / "cloud.ply", cloud)
    back = read(tmp_path / "cloud.ply")
    assert isinstance(back, Cloud)
    np.testing.assert_allclose(back.points, cloud.points, atol=1.6e-5)  # half a 32-bit step at 256 to 512: IEEE 754
    np.testing.assert_allclose(back.normals, cloud.normals, atol=1e-6)
    np.testing.assert_array_equal(back.colours, cloud.colours)
    np.testing.assert_array_equal(back.columns["view"], cloud.columns["view"])
    np.testing.assert_array_equal(back.columns["quality"], cloud.columns["quality"])
    np.testing.assert_array_equal(back.sensors, cloud.sensors)


def test_an_independent_reader_finds_the_same_mesh(tmp_path):
    """Read back by trimesh."""
    rng = np.random.default_rng(3)
    sphere = trimesh.creation.icosphere(3, 12.0)
    mesh = Mesh(sphere.vertices, sphere.faces, rng.integers(0, 256, (len(sphere.vertices), 3)).astype(np.uint8))
    write(tmp_path / "ball.ply", mesh)
    back = trimesh.load(tmp_path / "ball.ply", process=False)
    np.testing.assert_allclose(back.vertices, mesh.vertices, atol=1e-6)
    np.testing.assert_array_equal(back.faces, mesh.triangles)
    np.testing.assert_array_equal(np.asarray(back.visual.vertex_colors)[:, :3], mesh.colours)


@pytest.mark.parametrize("encoding", ["ascii", "binary"])
def test_files_of_an_independent_writer(tmp_path, encoding):
    """Written by trimesh."""
    sphere = trimesh.creation.icosphere(2, 5.0)
    (tmp_path / "ball.ply").write_bytes(trimesh.exchange.ply.export_ply(sphere, encoding=encoding))
    mesh = read(tmp_path / "ball.ply")
    np.testing.assert_allclose(mesh.vertices, sphere.vertices, atol=1e-6)
    np.testing.assert_array_equal(mesh.triangles, sphere.faces)


def test_a_range_map_with_a_camera_between_its_elements():
    """D1 of test_data: 85,849 vertices, 166,259 triangles, 129 x 188 x 125 mm, columns flags and quality."""
    mesh = face_range_map()
    assert (len(mesh.vertices), len(mesh.triangles)) == (85_849, 166_259)
    assert set(mesh.columns) == {"flags", "quality"}
    assert np.ptp(mesh.vertices, axis=0) == pytest.approx([129.5, 188.0, 127.0], abs=0.6)
    reference = trimesh.load(face_range_map_file(), process=False)
    np.testing.assert_array_equal(mesh.triangles, reference.faces)


def test_colours_as_floats_and_sixteen_bits(tmp_path):
    for kind, values in {"float": "1 0 0.5", "ushort": "65535 0 32896"}.items():
        lines = ["ply", "format ascii 1.0", "element vertex 2", *(f"property float {axis}" for axis in "xyz")]
        lines += [f"property {kind} {name}" for name in ("red", "green", "blue")]
        path = tmp_path / f"{kind}.ply"
        path.write_text("\n".join([*lines, "end_header", f"0 0 0 {values}", f"1 0 0 {values}", ""]))
        np.testing.assert_array_equal(read(path).colours, [[255, 0, 128]] * 2)


def test_points_a_scanner_marks_as_missing_are_left_out_and_said(tmp_path):
    points = np.random.default_rng(4).normal(size=(400, 3)).astype("<f4")
    points[[17, 300]] = np.nan
    header = "ply\nformat binary_little_endian 1.0\nelement vertex 400\n"
    header += "".join(f"property float {axis}\n" for axis in "xyz") + "end_header\n"
    (tmp_path / "gaps.ply").write_bytes(header.encode() + points.tobytes())
    reading = reading_of(tmp_path / "gaps.ply")
    assert len(reading.thing.points) == 398
    assert reading.notes == ("2 points marked as missing (NaN) were left out",)
