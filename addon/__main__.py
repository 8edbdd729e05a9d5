"""`canthus` and `python -m canthus`."""

import importlib.util
import os
import signal
import sys
from types import FrameType

from .job.command import main
from .job.studio import Studio

NOT_READ = 141  # what a shell says of a program ended by SIGPIPE


def run() -> int:
    """The command line with the words it was called with. Returns the exit status, 141 where nobody read to the end."""
    words = sys.argv[1:]
    signal.signal(signal.SIGTERM, _stop)  # being ended politely leaves as little behind as Ctrl-C
    try:
        status = main(words, _studio() if words[:1] == ["make"] else None)
        sys.stdout.flush()
    except BrokenPipeError:  # who reads has seen enough, as `canthus steps | head`
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # nothing is left to be written at the end
        return NOT_READ
    return status


def _stop(_signal: int, _frame: FrameType | None) -> None:
    raise KeyboardInterrupt


def _studio() -> Studio | None:
    """Blender's studio where the module bpy is installed and loads; a line where it is there and does not."""
    if importlib.util.find_spec("bpy") is None:
        return None
    try:
        importlib.import_module("bpy")
    except ImportError as fault:  # a library of the system is missing
        print(f"Blender does not load: {fault}", file=sys.stderr)
        return None
    from .host.pictures.studio import BlenderStudio

    return BlenderStudio()


if __name__ == "__main__":
    sys.exit(run())
