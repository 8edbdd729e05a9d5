"""What the work was done with: versions of Canthus, of Python and of the libraries, for the report and the recipe."""

import importlib.metadata
import platform
import sys
import tomllib
from functools import cache
from pathlib import Path

_LIBRARIES = ("numpy", "scipy", "manifold3d", "fast-simplification")


@cache
def own_version() -> str:
    """The version of Canthus, from the manifest that lies in the package."""
    manifest = Path(__file__).parents[1] / "blender_manifest.toml"
    return str(tomllib.loads(manifest.read_text(encoding="utf-8"))["version"])


def versions() -> dict[str, str]:
    """Name to version of all that had a part in the result; a library that is absent is left out."""
    found = {"canthus": own_version(), "python": platform.python_version(), "system": platform.platform(terse=True)}
    for name in _LIBRARIES:
        try:
            found[name] = importlib.metadata.version(name)
        except importlib.metadata.PackageNotFoundError:
            continue
    blender = sys.modules.get("bpy")
    if blender is not None:
        found["blender"] = blender.app.version_string
    return found
