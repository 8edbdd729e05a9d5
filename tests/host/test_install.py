"""The built zip, as a user gets it: installed, enabled, disabled, enabled again and taken away in a host of its own."""

import importlib
import os
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PLATFORM = {"linux": "linux-x64", "darwin": "macos-arm64", "win32": "windows-x64"}[sys.platform]
HOSTS_OWN = {"config/userpref.blend", "extensions/.cache/compat.dat", "extensions/user_default/.blender_ext/cache"}
"""Files the host keeps for itself, whatever is installed."""
INSTALL = """
    import sys
    import bpy
    bpy.ops.extensions.package_install_files(filepath=sys.argv[1], repo="user_default", enable_on_install=True)
    assert "bl_ext.user_default.canthus" in bpy.context.preferences.addons
    bpy.ops.wm.save_userpref()
    print("to the end")
"""
USE = """
    import sys
    import bpy
    name = "bl_ext.user_default.canthus"
    for turn in range(2):
        bpy.ops.preferences.addon_enable(module=name)
        assert name in bpy.context.preferences.addons
        assert bpy.ops.canthus.scale.get_rna_type().name == "Scale"
        assert "CANTHUS_PT_job" in dir(bpy.types)
        assert not [each for each in ("scipy", "manifold3d", "fast_simplification") if each in sys.modules]
        if turn == 0:
            bpy.ops.preferences.addon_disable(module=name)
            assert not hasattr(bpy.types.Scene, "canthus")
    bpy.ops.mesh.primitive_uv_sphere_add(radius=120, segments=64, ring_count=32)
    print(bpy.ops.canthus.take_object(units="mm"))
    print(bpy.ops.canthus.scale(ratio="1/6"))
    import scipy, manifold3d, fast_simplification
    print(*(each.__file__ for each in (scipy, manifold3d, fast_simplification)), sep="\\n")
"""
TAKE_AWAY = """
    repos = [repo.module for repo in bpy.context.preferences.extensions.repos]
    print(bpy.ops.extensions.package_uninstall(repo_index=repos.index("user_default"), pkg_id="canthus"))
    assert name not in bpy.context.preferences.addons
    assert not hasattr(bpy.types.Scene, "canthus")
    assert not [each for each in dir(bpy.types) if each.startswith("CANTHUS_")]
    assert not [each for each in sys.modules if each.startswith(name)]
    bpy.ops.wm.save_userpref()
    print("to the end")
"""


@pytest.fixture(scope="module")
def builder():
    sys.path.insert(0, str(ROOT / "tools"))
    try:
        return importlib.import_module("package")
    finally:
        sys.path.pop(0)


@pytest.fixture(scope="module")
def bare(builder, tmp_path_factory):
    """The zip without its wheels: the libraries are in the environment the tests run in."""
    folder = tmp_path_factory.mktemp("bare")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(builder, "WHEELS", folder / "none")
        assert builder.main(["--no-download", "--platform", PLATFORM, "--out", str(folder)]) == 0
    return next(folder.glob("*.zip"))


@pytest.fixture(scope="module")
def whole(builder, tmp_path_factory):
    """The zip with its wheels, fetched where they do not lie in addon/wheels yet."""
    folder = tmp_path_factory.mktemp("whole")
    try:
        assert builder.main(["--platform", PLATFORM, "--out", str(folder)]) == 0
    except SystemExit as end:
        pytest.skip(f"the wheels could not be fetched: {end}")
    return next(folder.glob("*.zip"))


def host(code, package, user):
    """Run a script in a host whose user folder is `user`; what it said."""
    outcome = subprocess.run(
        [sys.executable, "-c", "\n".join(textwrap.dedent(part) for part in code), str(package)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "BLENDER_USER_RESOURCES": str(user)},
    )
    assert outcome.returncode == 0, outcome.stdout + outcome.stderr
    assert "Traceback" not in outcome.stderr, outcome.stderr
    assert outcome.stdout.strip().endswith("to the end")
    return outcome.stdout


def test_installed_used_and_taken_away_in_one_run(bare, tmp_path):
    """In the extension the package has another name, so this also finds imports that are not relative."""
    said = host((INSTALL, USE, TAKE_AWAY), bare, tmp_path)
    assert said.count("{'FINISHED'}") == 3


def test_with_its_libraries_installed_used_and_taken_away_without_a_trace(whole, tmp_path):
    """What is used is the bundle's own libraries, from the second start on: the first keeps what the host found."""
    host((INSTALL,), whole, tmp_path)
    said = host((USE, TAKE_AWAY), whole, tmp_path)
    assert said.count("{'FINISHED'}") == 3
    used = [Path(line) for line in said.splitlines() if line.endswith((".py", ".so", ".pyd"))]
    assert len(used) == 3
    for library in used:
        assert tmp_path in library.parents, f"{library} is not the bundle's"
    left = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.is_file()}
    assert left <= HOSTS_OWN, left - HOSTS_OWN
