"""3MF, read back by the standard's own library in strict mode (lib3mf, 3MF Consortium)."""

import base64
import io
import re
import zipfile

import lib3mf
import numpy as np
import pytest
from canthus.files.reading import read
from canthus.files.threemf_reading import threemf_objects
from canthus.files.threemf_writing import laid_out
from canthus.files.writing import write
from canthus.geometry.measures import is_watertight, volume
from canthus.geometry.solids.primitives import box, icosphere

PARTS = {"head": icosphere(4, 20.0), "eye-left": icosphere(3, 3.0), "skull & cap <1>": box((0, 0, 0), (5, 6, 7))}


@pytest.fixture
def package(tmp_path):
    write(tmp_path / "all.3mf", PARTS)
    return tmp_path / "all.3mf"


def test_the_consortiums_library_reads_it_in_strict_mode_without_a_warning(package):
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(package))
    assert reader.GetWarningCount() == 0
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    objects = model.GetMeshObjects()
    found = {}
    while objects.MoveNext():
        each = objects.GetCurrentMeshObject()
        assert each.IsManifoldAndOriented()  # the edge and winding rules of Core 4.1
        found[each.GetName()] = each.GetTriangleCount()
    assert found == {name: len(mesh.triangles) for name, mesh in PARTS.items()}
    items = model.GetBuildItems()
    assert items.Count() == len(PARTS)


def test_with_a_picture_and_metadata_it_is_read_strictly_too(tmp_path):
    """The thumbnail is an attachment of the package (Core 6.1); the metadata are those of Core 3.4.1."""
    png = base64.b64decode(
        "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
    )  # one pixel, a whole PNG
    write(tmp_path / "all.3mf", PARTS, thumbnail=png)
    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(tmp_path / "all.3mf"))
    assert reader.GetWarningCount() == 0
    assert model.HasPackageThumbnailAttachment()
    group = model.GetMetaDataGroup()
    names = {group.GetMetaData(row).GetName() for row in range(group.GetMetaDataCount())}
    assert names == {"Title", "Application"}
    assert model.GetBuildItems().Count() == len(PARTS)


def test_build_items_do_not_overlap_and_stand_on_the_plate():
    """Core 3.4.3: items should not overlap, and lie in the positive octant."""
    boxes = []
    for mesh, shift in zip(PARTS.values(), laid_out(PARTS), strict=True):
        boxes.append((mesh.vertices.min(axis=0) + shift, mesh.vertices.max(axis=0) + shift))
        assert (boxes[-1][0] >= -1e-9).all()
        assert boxes[-1][0][2] == pytest.approx(0)
    for number, (low, high) in enumerate(boxes):
        for other_low, other_high in boxes[number + 1 :]:
            assert (high < other_low).any() or (other_high < low).any()


def test_volumes_are_equal_across_formats(tmp_path):
    """To 1e-6: the bar of issue 5."""
    ball = icosphere(4, 20.0)
    for suffix in ("ply", "obj", "stl", "3mf"):
        write(tmp_path / f"ball.{suffix}", ball)
        back = read(tmp_path / f"ball.{suffix}")
        if suffix == "stl":
            assert (tmp_path / "ball.stl").stat().st_size == 84 + 50 * len(ball.triangles)
        assert is_watertight(back)
        assert volume(back) == pytest.approx(volume(ball), rel=1e-6)


def test_nothing_personal_and_equal_bytes(tmp_path):
    """Nothing in the package tells who, when or where; two writings are the same file."""
    for name in ("jane-doe", "other"):
        write(tmp_path / f"{name}.3mf", PARTS)
    assert (tmp_path / "jane-doe.3mf").read_bytes() == (tmp_path / "other.3mf").read_bytes()
    with zipfile.ZipFile(tmp_path / "jane-doe.3mf") as package:
        model = package.read("3D/3dmodel.model").decode()
        assert {entry.date_time for entry in package.infolist()} == {(1980, 1, 1, 0, 0, 0)}
    assert "jane" not in model
    assert re.findall(r'<metadata name="(\w+)">', model) == ["Title", "Application"]  # names of Core 3.4.1, each once


def test_objects_come_back_by_name_in_their_own_frame(package):
    objects = threemf_objects(package.read_bytes())
    assert list(objects) == list(PARTS)
    np.testing.assert_allclose(objects["eye-left"].vertices, PARTS["eye-left"].vertices, atol=1e-7)


@pytest.mark.parametrize(
    ("unit", "factor"), [("micron", 0.001), ("centimeter", 10), ("inch", 25.4), ("foot", 304.8), ("meter", 1000)]
)
def test_units_become_millimetres(tmp_path, package, unit, factor):
    """The units of Core 3.4."""
    path = tmp_path / f"{unit}.3mf"
    with zipfile.ZipFile(package) as old, zipfile.ZipFile(path, "w") as new:
        for name in old.namelist():
            new.writestr(name, old.read(name).replace(b'unit="millimeter"', f'unit="{unit}"'.encode()))
    assert volume(read(path)) == pytest.approx(volume(read(package)) * factor**3, rel=1e-9)


def test_components_and_transforms_as_the_consortiums_library_writes_them(tmp_path):
    wrapper = lib3mf.get_wrapper()
    model = wrapper.CreateModel()
    mesh = model.AddMeshObject()
    ball = icosphere(1, 2.0)
    mesh.SetGeometry(
        [lib3mf.Position(tuple(map(float, vertex))) for vertex in ball.vertices],
        [lib3mf.Triangle(tuple(map(int, triangle))) for triangle in ball.triangles],
    )
    parent = model.AddComponentsObject()
    parent.AddComponent(mesh, wrapper.GetTranslationTransform(10.0, 0.0, 0.0))
    parent.AddComponent(mesh, wrapper.GetUniformScaleTransform(2.0))
    model.AddBuildItem(parent, wrapper.GetTranslationTransform(0.0, 0.0, 5.0))
    model.QueryWriter("3mf").WriteToFile(str(tmp_path / "parts.3mf"))
    back = read(tmp_path / "parts.3mf")
    assert volume(back) == pytest.approx(volume(ball) * 9, rel=1e-5)
    assert back.vertices.max(axis=0) == pytest.approx([12.0, 4.0, 9.0], abs=0.5)


def test_a_picture_goes_along(tmp_path):
    png = b"\x89PNG\r\n\x1a\n" + b"\0" * 16
    write(tmp_path / "a.3mf", PARTS, thumbnail=png)
    with zipfile.ZipFile(io.BytesIO((tmp_path / "a.3mf").read_bytes())) as package:
        assert package.read("Metadata/thumbnail.png") == png
        assert b"metadata/thumbnail" in package.read("_rels/.rels")
