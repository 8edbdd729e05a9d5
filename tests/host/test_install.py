"""The built zip, as a user gets it: installed, enabled, disabled and enabled again in a host of its own."""

import importlib
import os
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
SCRIPT = """
    import sys
    import bpy
    bpy.ops.extensions.package_install_files(filepath=sys.argv[1], repo="user_default", enable_on_install=True)
    name = "bl_ext.user_default.canthus"
    for turn in range(2):
        assert name in bpy.context.preferences.addons
        assert bpy.ops.canthus.scale.get_rna_type().name == "Scale"
        assert "CANTHUS_PT_job" in dir(bpy.types)
        bpy.ops.preferences.addon_disable(module=name)
        assert not hasattr(bpy.types.Scene, "canthus")
        bpy.ops.preferences.addon_enable(module=name)
    print([each for each in ("scipy", "manifold3d") if each in sys.modules])
    bpy.ops.mesh.primitive_uv_sphere_add(radius=120, segments=64, ring_count=32)
    print(bpy.ops.canthus.take_object(units="mm"))
    print(bpy.ops.canthus.scale(ratio="1/6"))
    bpy.ops.preferences.addon_disable(module=name)
    print("to the end")
"""


@pytest.fixture(scope="module")
def package(tmp_path_factory):
    """The zip without its wheels: the libraries are in the environment the tests run in."""
    sys.path.insert(0, str(ROOT / "tools"))
    try:
        builder = importlib.import_module("package")
    finally:
        sys.path.pop(0)
    folder = tmp_path_factory.mktemp("dist")
    builder.WHEELS = folder / "none"
    platform = {"linux": "linux-x64", "darwin": "macos-arm64", "win32": "windows-x64"}[sys.platform]
    assert builder.main(["--no-download", "--platform", platform, "--out", str(folder)]) == 0
    return next(folder.glob("*.zip"))


def test_installed_enabled_disabled_and_enabled_again(package, tmp_path):
    """In the extension the package has another name, so this also finds imports that are not relative."""
    outcome = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(SCRIPT), str(package)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "BLENDER_USER_RESOURCES": str(tmp_path)},
    )
    assert outcome.returncode == 0, outcome.stdout + outcome.stderr
    assert "Traceback" not in outcome.stderr
    assert "[]\n" in outcome.stdout
    assert outcome.stdout.count("{'FINISHED'}") == 2
    assert outcome.stdout.strip().endswith("to the end")
