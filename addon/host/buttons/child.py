"""Heavy work in a child process over arrays, so that the window keeps drawing. No thread, no pipe: files both ways."""

import importlib.util
import json
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Collection, Sequence
from pathlib import Path

import bpy

from ...geometry.errors import MissingLibrary, NotPossible
from ...job import worker
from ...steps.step import Step
from ...steps.workpiece import Workpiece

PACKAGE = Path(__file__).resolve().parents[2]
_BOOT = """
import importlib.util, os, pathlib, sys
if hasattr(os, "nice"):
    os.nice(15)  # the window comes first
sys.path.insert(0, sys.argv[2])
spec = importlib.util.spec_from_file_location("canthus", sys.argv[1])
sys.modules["canthus"] = package = importlib.util.module_from_spec(spec)
spec.loader.exec_module(package)
from canthus.job.worker import main
sys.exit(main(pathlib.Path(sys.argv[3])))
"""
_PRIORITY = subprocess.BELOW_NORMAL_PRIORITY_CLASS if sys.platform == "win32" else 0
"""Where a process cannot lower its own priority, it is started with a lower one."""


class Child:
    """Steps at work on a workpiece in another process. Make it, ask `look` from a timer, then `result` or `stop`."""

    def __init__(self, piece: Workpiece, steps: Sequence[Step], spared: Collection[str] = ()) -> None:
        self.folder = Path(tempfile.mkdtemp(dir=bpy.app.tempdir or None))
        self.fraction, self.what = 0.0, "starting"
        self._read = 0
        self._error = ""
        worker.hand_over(self.folder, piece, steps, spared)
        arguments = [PACKAGE / "__init__.py", _libraries(), self.folder]
        command = [sys.executable, *bpy.app.python_args, "-c", _BOOT, *arguments]
        with open(self.folder / "words", "wb") as words, open(self.folder / "trouble", "wb") as trouble:
            spelled = [str(part) for part in command]
            self._process = subprocess.Popen(spelled, stdout=words, stderr=trouble, creationflags=_PRIORITY)

    def look(self) -> bool:
        """Take in what the child has said since. True while it is at work."""
        running = self._process.poll() is None  # asked first: what it said last is then in the file
        with open(self.folder / "words", "rb") as words:
            words.seek(self._read)
            said = words.read()
        whole = said[: said.rfind(b"\n") + 1]
        self._read += len(whole)
        for line in whole.splitlines():
            word = json.loads(line)
            self.fraction, self.what = word.get("fraction", self.fraction), word.get("what", self.what)
            self._error = word.get("error", self._error)
        return running

    def result(self) -> Workpiece:
        """What the child made of it; the folder is gone afterwards.

        Raises
        ------
        CanthusError
            The step's own one line, or that the child ended without a word.
        """
        try:
            if self._process.returncode == 0:
                return worker.take_back(self.folder)
            raise NotPossible(self._error or self._last_words())
        finally:
            self._clear()

    def stop(self) -> None:
        """End the child at once. Nothing of it is left."""
        if self._process.poll() is None:
            self._process.kill()
            self._process.wait()
        self._clear()

    def _last_words(self) -> str:
        lines = (self.folder / "trouble").read_text(encoding="utf-8", errors="replace").strip().splitlines()
        last = lines[-1] if lines else "out of memory?"
        return f"the work stopped by itself (exit {self._process.returncode}): {last}"

    def _clear(self) -> None:
        shutil.rmtree(self.folder, ignore_errors=True)


def _libraries() -> Path:
    """The folder the bundled libraries lie in, found without importing them."""
    found = importlib.util.find_spec("scipy")
    if found is None or found.origin is None:
        raise MissingLibrary("scipy is missing: install Canthus from its own zip, which brings it along")
    return Path(found.origin).parents[1]
