import hashlib
import importlib.util
import tomllib
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
pytestmark = pytest.mark.skipif(
    importlib.util.find_spec("bpy") is None, reason="the builder comes with Blender's wheel, which is not here"
)


@pytest.fixture
def package(monkeypatch):
    monkeypatch.syspath_prepend(str(ROOT / "tools"))
    return importlib.import_module("package")


def test_the_same_sources_give_the_same_bytes_and_the_host_accepts_them(package, tmp_path):
    """Validated by the host's own builder, which ends the program where it finds a fault."""
    for folder in ("first", "second"):
        assert package.main(["--no-download", "--platform", "macos-arm64", "--out", str(tmp_path / folder)]) == 0
    built = [next((tmp_path / folder).glob("*.zip")) for folder in ("first", "second")]
    assert len({hashlib.sha256(path.read_bytes()).hexdigest() for path in built}) == 1
    with zipfile.ZipFile(built[0]) as archive:
        names = archive.namelist()
        manifest = tomllib.loads(archive.read("blender_manifest.toml").decode())
    assert {"__init__.py", "LICENSE", "job/command.py", "host/registration.py"} <= set(names)
    assert not [name for name in names if "__pycache__" in name or name.startswith(("tests/", "tools/"))]
    assert manifest["platforms"] == ["macos-arm64"]
    assert set(manifest["permissions"]) == {"files"}


def test_wheels_are_named_in_the_manifest_and_numpy_is_never_shipped(package, tmp_path, monkeypatch):
    monkeypatch.setattr(package, "WHEELS", tmp_path)
    for name in ("scipy-1.17.0-cp311-cp311-win_amd64.whl", "scipy-1.17.0-cp311-cp311-macosx_14_0_arm64.whl"):
        (tmp_path / name).write_bytes(b"")
    wheels = package._wheels_for("windows-x64")
    package._lay_out(tmp_path / "out", "windows-x64", wheels)
    manifest = tomllib.loads((tmp_path / "out" / "blender_manifest.toml").read_text())
    assert manifest["wheels"] == ["./wheels/scipy-1.17.0-cp311-cp311-win_amd64.whl"]
    assert manifest["id"] == "canthus"
    assert not [each for each in package._libraries() if each.startswith("numpy")]


def test_a_broken_manifest_is_refused_by_the_host(package, tmp_path, monkeypatch):
    whole = package._lay_out

    def without_a_name(goal, platform, wheels):
        whole(goal, platform, wheels)
        manifest = goal / "blender_manifest.toml"
        manifest.write_text(manifest.read_text().replace('name = "Canthus"', ""))

    monkeypatch.setattr(package, "_lay_out", without_a_name)
    with pytest.raises(SystemExit, match="failed"):
        package.main(["--no-download", "--platform", "linux-x64", "--out", str(tmp_path)])
