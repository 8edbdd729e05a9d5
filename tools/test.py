"""All checks: style, types, floors, then the tests; the host's tests on every Blender there is an interpreter for.

    python3 tools/test.py [PYTEST ARGS] [--reference]

Makes its own environments. `--reference` also runs the comparisons with large outside libraries.
"""

import subprocess
import sys
import tempfile
import time
import xml.etree.ElementTree as ElementTree
from collections.abc import Sequence
from pathlib import Path

import environment

ROOT = environment.ROOT
CHECKS = (
    ("ruff", "check", "."),
    ("ruff", "format", "--check", "."),
    ("mypy",),
    ("lint-imports",),
)
BLENDER = {"3.11": "4.5", "3.13": "5.2"}
NO_TESTS = 5  # pytest's exit status when nothing was chosen


def main(words: Sequence[str]) -> int:
    """Run everything; 0 where all of it passed."""
    reference = "--reference" in words
    words = [word for word in words if word != "--reference"]
    homes = _environments()
    first = next(iter(homes.values()))
    faults = [] if _paths(words) else _faults_of_checks(first)
    counts = _Counts()
    if not _paths(words) or _outside_host(_paths(words)):
        counts.add(first, [*_outside_host(words), "--ignore=tests/host", "--ignore=tests/reference"], "tests")
    if reference and not (ROOT / "tests" / "reference").is_dir():
        print("left out: there are no tests against reference libraries yet")
    elif reference:
        python = environment.ensured(next(reversed(homes)), ("test", "reference"))
        # One of the libraries brings a plugin for pytest that is of no use here and warns.
        counts.add(python, ["-p", "no:dash", "tests/reference", *_options(words)], "tests against reference libraries")
    for version, python in homes.items():
        if _wants_host(words):
            _host_tests(counts, version, python, words)
    for line in (*faults, *counts.faults, *_left_out(homes)):
        print(line)
    print(f"{counts.passed} passed, {counts.failed} failed, {counts.skipped} skipped in {counts.seconds():.0f} s")
    return 1 if faults or counts.faults else 0


class _Counts:
    """What the runs of pytest came to."""

    def __init__(self) -> None:
        self.passed = self.failed = self.skipped = 0
        self.faults: list[str] = []
        self._begun = time.monotonic()

    def seconds(self) -> float:
        return time.monotonic() - self._begun

    def add(self, python: Path, words: Sequence[str], what: str) -> None:
        """Run pytest and count."""
        with tempfile.TemporaryDirectory() as folder:
            record = Path(folder) / "record.xml"
            print(f"== {what}", flush=True)
            command = [python, "-m", "pytest", f"--junitxml={record}", *words]
            status = subprocess.run(command, cwd=ROOT, check=False).returncode
            self._read(record)
        if status not in (0, NO_TESTS):
            self.faults.append(f"{what}: pytest ended with status {status}")

    def _read(self, record: Path) -> None:
        if not record.exists():
            return
        for suite in ElementTree.parse(record).getroot().iter("testsuite"):
            total, bad, skipped = (
                int(suite.get("tests", 0)),
                int(suite.get("failures", 0)) + int(suite.get("errors", 0)),
                int(suite.get("skipped", 0)),
            )
            self.passed += total - bad - skipped
            self.failed += bad
            self.skipped += skipped


def _environments() -> dict[str, Path]:
    """Version to environment, for each Python with a Blender; else the one this was started with, without."""
    found = [version for version in environment.HOST_PYTHONS if version in environment.interpreters()]
    if found:
        return {version: environment.ensured(version, ("test", "host")) for version in found}
    return {environment.current_version(): environment.ensured(environment.current_version(), ("test",))}


def _faults_of_checks(python: Path) -> list[str]:
    """One line for every check that failed; their own output comes before it."""
    faults = []
    for name, *rest in CHECKS:
        print(f"== {' '.join([name, *rest])}", flush=True)
        command = [python.parent / name, *rest]
        if subprocess.run(command, cwd=ROOT, check=False).returncode:
            faults.append(f"{' '.join([name, *rest])} found faults")
    return faults


def _host_tests(counts: _Counts, version: str, python: Path, words: Sequence[str]) -> None:
    if version not in BLENDER:
        return
    fault = environment.host_fault(python)
    if fault:
        counts.faults.append(f"Blender {BLENDER[version]} does not load: {fault}")
        return
    chosen = [word for word in _paths(words) if _is_host(word)] or ["tests/host"]
    counts.add(python, [*chosen, *_options(words)], f"tests in Blender {BLENDER[version]}")


def _left_out(homes: dict[str, Path]) -> list[str]:
    missing = [BLENDER[version] for version in environment.HOST_PYTHONS if version not in homes]
    return [f"left out: no Python for Blender {' and '.join(missing)} on this machine"] if missing else []


def _paths(words: Sequence[str]) -> list[str]:
    return [word for word in words if not word.startswith("-") and (ROOT / word.split("::")[0]).exists()]


def _options(words: Sequence[str]) -> list[str]:
    paths = _paths(words)
    return [word for word in words if word not in paths]


def _outside_host(words: Sequence[str]) -> list[str]:
    return [word for word in words if not _is_host(word)]


def _is_host(word: str) -> bool:
    return word.startswith("tests/host")


def _wants_host(words: Sequence[str]) -> bool:
    paths = _paths(words)
    return not paths or any(_is_host(word) or word.rstrip("/") == "tests" for word in paths)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
