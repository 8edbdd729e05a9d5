"""`canthus` and `python -m canthus`."""

import importlib.util
import os
import signal
import sys
import threading
from types import FrameType

from .job.command import STOPPED, main
from .job.studio import Studio

NOT_READ = 141  # what a shell says of a program ended by SIGPIPE


def run() -> int:
    """The command line with the words it was called with. Returns the exit status, 141 where nobody read to the end."""
    words = sys.argv[1:]
    for told in _ENDINGS:  # being ended politely leaves as little behind as Ctrl-C
        signal.signal(told, _stop)
    try:
        status = main(words, _studio() if words[:1] == ["make"] else None)
        sys.stdout.flush()
    except BrokenPipeError:  # who reads has seen enough, as `canthus steps | head`
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # nothing is left to be written at the end
        return NOT_READ
    except KeyboardInterrupt:  # while Blender was loaded
        print("canthus: stopped, nothing written", file=sys.stderr)
        return STOPPED
    finally:
        _ring(0.0)  # the work was done before it could be stopped
    return status


_CLOCK = getattr(signal, "SIGALRM", None)  # none on Windows, where a search is not waited for
_ENDINGS = tuple(one for one in (signal.SIGINT, signal.SIGTERM, _CLOCK) if one is not None)
_SOON = 0.05  # seconds


def _stop(_signal: int, frame: FrameType | None) -> None:
    """Stop as Ctrl-C does, but not while threads are waited for: as soon as they are done.

    A search in a k-d tree that its caller left would go on in them, and fall over what is gone when Python ends.
    """
    waits = _waits_for_a_thread(frame)
    _ring(_SOON if waits else 0.0)
    if _CLOCK is None or not waits:
        raise KeyboardInterrupt


def _ring(seconds: float) -> None:
    """Have `_stop` called again so soon; not at all with 0."""
    if _CLOCK is not None:
        signal.setitimer(signal.ITIMER_REAL, seconds)


def _waits_for_a_thread(frame: FrameType | None) -> bool:
    while frame is not None and frame.f_code is not threading.Thread.join.__code__:
        frame = frame.f_back
    return frame is not None


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
