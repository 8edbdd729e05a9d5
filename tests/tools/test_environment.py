import importlib
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

TOOLS = Path(__file__).resolve().parents[2] / "tools"


@pytest.fixture
def environment(monkeypatch):
    monkeypatch.syspath_prepend(str(TOOLS))
    return importlib.import_module("environment")


def test_the_interpreters_found_are_what_they_are_taken_for(environment):
    for version, python in environment.interpreters().items():
        done = subprocess.run([python, "--version"], capture_output=True, text=True)
        assert done.stdout.startswith(f"Python {version}.")


def test_what_does_not_start_is_no_interpreter(environment, tmp_path):
    broken = tmp_path / "python3.11"
    broken.write_text("#!/bin/sh\necho 'pyenv: version not set' >&2\nexit 127\n")
    broken.chmod(0o755)
    assert environment._version_of(broken) is None
    assert environment._version_of(tmp_path / "absent") is None


def test_inside_an_environment_nothing_is_made(environment, monkeypatch):
    monkeypatch.setenv("CANTHUS_TOOLS_INSIDE", "1")
    monkeypatch.setattr(environment, "ensured", lambda *_: pytest.fail("made one"))
    environment.enter("host")


@pytest.mark.parametrize("version", ["3.11", "3.12", "3.13", "3.14"])
def test_any_python_from_3_11_on_can_start_the_tools(version):
    python = shutil.which(f"python{version}")
    if python is None or subprocess.run([python, "--version"], capture_output=True).returncode:
        pytest.skip(f"no Python {version} on this machine")
    code = (
        f"import sys; sys.path.insert(0, {str(TOOLS)!r}); import environment; print(sorted(environment.interpreters()))"
    )
    done = subprocess.run([python, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert f"{sys.version_info.major}.{sys.version_info.minor}" in done.stdout


def test_a_change_of_requirements_makes_the_environment_anew(environment, monkeypatch, tmp_path):
    text = (environment.ROOT / "pyproject.toml").read_text()
    monkeypatch.setattr(environment, "ROOT", tmp_path)
    (tmp_path / "pyproject.toml").write_text(text)
    before = environment._fingerprint("3.11")
    assert environment._fingerprint("3.11") == before
    assert environment._fingerprint("3.13") != before
    (tmp_path / "pyproject.toml").write_text(text.replace('"scipy>=1.14,<2"', '"scipy>=1.15,<2"'))
    assert environment._fingerprint("3.11") != before
