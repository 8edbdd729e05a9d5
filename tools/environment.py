"""Makes the environments the tools run in, and finds the interpreters for them.

Nothing has to be installed first: `python3 tools/test.py` and `python3 tools/demo.py` come here, and work in
`.environments/py3.11` and `.environments/py3.13` afterwards. Standard library only, for any Python from 3.11 on.
"""

import functools
import hashlib
import os
import shutil
import subprocess
import sys
import tomllib
from collections.abc import Iterator, Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
HOST_PYTHONS = ("3.11", "3.13")
"""The Pythons there is a Blender wheel for: 4.5 needs the first, 5.2 the second."""

_LAUNCHED = "CANTHUS_TOOLS_INSIDE"
_ASK = "import sys, ensurepip; print('%d.%d' % sys.version_info[:2])"


def enter(*extras: str, pythons: Sequence[str] = HOST_PYTHONS) -> None:
    """Run the calling script again inside an environment that has these extras; return when already inside.

    The first of `pythons` found on the machine is taken. Where none is, the script runs on the Python it was
    started with, without the extra `host`, and a line says what is left out.
    """
    if os.environ.get(_LAUNCHED) == "1":
        return
    found = next((version for version in pythons if version in interpreters()), None)
    if found is None:
        print(_left_out(pythons), file=sys.stderr)
        found, extras = current_version(), tuple(extra for extra in extras if extra != "host")
    python = ensured(found, extras)
    environment = {**os.environ, _LAUNCHED: "1"}
    sys.exit(subprocess.run([python, *sys.argv], env=environment, check=False).returncode)


def current_version() -> str:
    """Version of the Python this runs on, "3.12"."""
    return f"{sys.version_info.major}.{sys.version_info.minor}"


@functools.cache
def interpreters() -> dict[str, Path]:
    """Version to an interpreter that can make environments, for every one found on the machine."""
    found: dict[str, Path] = {}
    for candidate in _candidates():
        version = _version_of(candidate)
        if version is not None:
            found.setdefault(version, candidate)
    return found


def ensured(version: str, extras: Sequence[str]) -> Path:
    """The Python of the environment for this version, made or brought up to date first."""
    home = ROOT / ".environments" / f"py{version}"
    python = home / ("Scripts/python.exe" if os.name == "nt" else "bin/python")
    stamp = home / "made-from"
    have = set(stamp.read_text().split()[1:]) if stamp.exists() else set()
    wanted = sorted(have | set(extras))
    text = " ".join([_fingerprint(version), *wanted])
    if stamp.exists() and stamp.read_text() == text and python.exists():
        return python
    print(f"making {home.relative_to(ROOT)} (once; {', '.join(wanted) or 'no extras'})", file=sys.stderr, flush=True)
    stamp.unlink(missing_ok=True)
    if not python.exists():
        if version not in interpreters():
            sys.exit(f"tools/environment.py: Python {version} lacks venv: install it (Debian: python3-venv)")
        _run(interpreters()[version], "-m", "venv", "--clear", home)
    packages = f"{ROOT}[{','.join(wanted)}]" if wanted else str(ROOT)
    _run(python, "-m", "pip", "install", "-qq", "--disable-pip-version-check", "-e", packages)
    stamp.write_text(text)
    return python


def host_fault(python: Path) -> str:
    """Why Blender does not load in this environment, in one line; nothing where it does."""
    done = subprocess.run([python, "-c", "import bpy"], capture_output=True, text=True, check=False)
    lines = done.stderr.strip().splitlines()
    return "" if done.returncode == 0 else (lines[-1] if lines else f"import bpy ended with {done.returncode}")


def _candidates() -> Iterator[Path]:
    """Where interpreters are: this one, the path, pyenv's folders, the usual places."""
    yield Path(getattr(sys, "_base_executable", sys.executable))
    pyenv = os.environ.get("PYENV_ROOT", Path.home() / ".pyenv")
    for version in ("3.11", "3.13", "3.12", "3.14"):
        for root in (Path(pyenv), Path("/opt/pyenv"), Path("/usr/local/pyenv")):
            yield from sorted(root.glob(f"versions/{version}*/bin/python{version}"), reverse=True)
            yield from sorted(root.glob(f"pyenv-win/versions/{version}*/python.exe"), reverse=True)
        on_path = shutil.which(f"python{version}")
        if on_path:
            yield Path(on_path)
        for folder in ("/usr/bin", "/usr/local/bin", "/opt/homebrew/bin"):
            yield Path(folder) / f"python{version}"
        for folder in (Path("/opt/python"), Path.home() / ".local/share/uv/python"):
            yield from sorted(folder.glob(f"*{version}*/bin/python{version}"), reverse=True)
        local = os.environ.get("LOCALAPPDATA")
        if local:
            yield Path(local) / "Programs" / "Python" / f"Python{version.replace('.', '')}" / "python.exe"


def _version_of(candidate: Path) -> str | None:
    """The interpreter's version, None where it does not start or cannot make environments."""
    if not candidate.exists():
        return None
    try:
        done = subprocess.run([candidate, "-c", _ASK], capture_output=True, text=True, check=False, timeout=20)
    except (OSError, subprocess.TimeoutExpired):
        return None  # a shim without its interpreter, a broken link: not one we can use
    return done.stdout.strip() if done.returncode == 0 else None


def _fingerprint(version: str) -> str:
    """Changes when the environment has to be made anew: the project's requirements, the interpreter."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    facts = [project["build-system"], project["project"], project["tool"]["setuptools"], version]
    return hashlib.sha256(repr(facts).encode()).hexdigest()[:16]


def _left_out(pythons: Sequence[str]) -> str:
    return f"no Python {' or '.join(pythons)} on this machine: Blender, its pictures and the .blend are left out"


def _run(*command: object) -> None:
    """Run it; when it fails, end with its own words and one line of ours."""
    done = subprocess.run([str(each) for each in command], check=False)
    if done.returncode:
        sys.exit(f"tools/environment.py: {' '.join(map(str, command[:4]))} failed with {done.returncode}")
