"""Builds the extension: one zip a platform, with the libraries it needs inside.

    python3 tools/package.py [--platform linux-x64] [--no-download] [--out dist]

Fetches the wheels into addon/wheels, lays the package out in a folder of its own, and has the host's own builder make
and validate the zips. The same sources and wheels give the same bytes, whenever and wherever they are built.
"""

import argparse
import hashlib
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
import zipfile
from collections.abc import Iterable, Sequence
from pathlib import Path

import environment

ROOT = environment.ROOT
ADDON = ROOT / "addon"
WHEELS = ADDON / "wheels"
PYTHONS = environment.HOST_PYTHONS
# Platform of the extension to the tags its wheels may carry, newest first: libraries build for different ones.
TAGS = {
    "linux-x64": ("manylinux_2_28_x86_64", "manylinux_2_27_x86_64", "manylinux_2_17_x86_64", "manylinux2014_x86_64"),
    "windows-x64": ("win_amd64",),
    "macos-arm64": ("macosx_14_0_arm64", "macosx_13_0_arm64", "macosx_12_0_arm64", "macosx_11_0_arm64"),
}
ENDINGS = {"linux-x64": "x86_64.whl", "windows-x64": "win_amd64.whl", "macos-arm64": "arm64.whl"}
STAMP = (1980, 1, 1, 0, 0, 0)  # the oldest time a zip can hold


def main(words: Sequence[str]) -> int:
    """Build, validate, and say what came out."""
    options = _parsed(words)
    platforms = options.platform or list(TAGS)
    builder, tags = _builder()
    options.out.mkdir(parents=True, exist_ok=True)
    for platform in platforms:
        if not options.no_download:
            _download(platform)
        with tempfile.TemporaryDirectory() as folder:
            laid_out = Path(folder) / "canthus"
            _lay_out(laid_out, platform, _wheels_for(platform))
            built = Path(folder) / f"canthus-{_version()}-{platform.replace('-', '_')}.zip"
            _run(*builder, "build", *tags, "--source-dir", laid_out, "--output-filepath", built)
            result = options.out / built.name
            _rewrite(built, result)
        _run(*builder, "validate", *tags, result)
        digest = hashlib.sha256(result.read_bytes()).hexdigest()
        print(f"{result}  {result.stat().st_size / 1e6:.1f} MB  sha256 {digest}")
    return 0


def _parsed(words: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(description="Build the Blender extension.")
    parser.add_argument("--platform", action="append", choices=tuple(TAGS), help="only this one; may be repeated")
    parser.add_argument("--no-download", action="store_true", help="take the wheels that lie in addon/wheels, or none")
    parser.add_argument("--out", type=Path, default=ROOT / "dist", help="folder for the zips (dist)")
    return parser.parse_args(words)


def _builder() -> tuple[list[str | Path], list[str | Path]]:
    """The command of the host's own builder, which comes with its wheel, and the tags the host knows."""
    found = subprocess.run(
        [sys.executable, "-c", "import importlib.util as u; print(u.find_spec('bpy').submodule_search_locations[0])"],
        capture_output=True,
        text=True,
        check=False,
    )
    folder = Path(found.stdout.strip() or "-")
    tools = sorted(folder.glob("*/scripts/addons_core/bl_pkg/cli/blender_ext.py"))
    if not tools:
        sys.exit("tools/package.py: the builder comes with Blender's wheel, for Python 3.11 or 3.13: none is here")
    scripts = tools[0].parents[3]
    return [sys.executable, tools[0]], ["--valid-tags", scripts / "modules/_bpy_internal/extensions/tags.py"]


def _libraries() -> list[str]:
    """What the package depends on but for numpy, which is the host's own and is never shipped."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    return [each for each in project["dependencies"] if re.match(r"[\w-]+", each).group() != "numpy"]


def _download(platform: str) -> None:
    WHEELS.mkdir(exist_ok=True)
    for python in PYTHONS:
        tags = [word for tag in TAGS[platform] for word in ("--platform", tag)]
        command = [sys.executable, "-m", "pip", "download", "-qq", "--disable-pip-version-check", "--no-deps"]
        command += ["--only-binary=:all:", "--python-version", python, *tags, "-d", str(WHEELS), *_libraries()]
        _run(*command)


def _wheels_for(platform: str) -> list[Path]:
    return sorted(wheel for wheel in WHEELS.glob("*.whl") if wheel.name.endswith((ENDINGS[platform], "any.whl")))


def _lay_out(goal: Path, platform: str, wheels: Iterable[Path]) -> None:
    """The package as it goes into the zip: the sources, the licence, the wheels, and a manifest that names them."""
    shutil.copytree(ADDON, goal, ignore=shutil.ignore_patterns("__pycache__", "wheels", "*.pyc", ".*"))
    shutil.copy(ROOT / "LICENSE", goal / "LICENSE")
    lines = [f'platforms = ["{platform}"]']
    names = [wheel.name for wheel in wheels]
    if names:
        (goal / "wheels").mkdir()
        for name in names:
            shutil.copy(WHEELS / name, goal / "wheels" / name)
        lines += ["wheels = [", *(f'  "./wheels/{name}",' for name in names), "]"]
    manifest = (goal / "blender_manifest.toml").read_text(encoding="utf-8")
    head, tables = manifest.split("\n[", 1)  # plain values stand before the first table
    (goal / "blender_manifest.toml").write_text("\n".join([head.rstrip(), *lines, "", f"[{tables}"]), encoding="utf-8")


def _rewrite(built: Path, goal: Path) -> None:
    """The same zip with names in order, one time for all, and wheels stored as they are."""
    with zipfile.ZipFile(built) as source, zipfile.ZipFile(goal, "w") as result:
        for name in sorted(name for name in source.namelist() if not name.endswith("/")):
            entry = zipfile.ZipInfo(name, STAMP)
            entry.external_attr = 0o644 << 16
            entry.create_system = 3  # one answer whatever system builds it
            entry.compress_type = zipfile.ZIP_STORED if name.endswith(".whl") else zipfile.ZIP_DEFLATED
            result.writestr(entry, source.read(name))


def _version() -> str:
    return str(tomllib.loads((ADDON / "blender_manifest.toml").read_text(encoding="utf-8"))["version"])


def _run(*command: object) -> None:
    done = subprocess.run([str(each) for each in command], check=False)
    if done.returncode:
        sys.exit(f"tools/package.py: {Path(str(command[1])).name} {command[2]} failed with {done.returncode}")


if __name__ == "__main__":
    environment.enter("host")
    sys.exit(main(sys.argv[1:]))
