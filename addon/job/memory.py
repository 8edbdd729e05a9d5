"""How much memory a stretch of work needed at its worst."""

import math
import re
import sys
from pathlib import Path

_CLEAR = Path("/proc/self/clear_refs")
_STATUS = Path("/proc/self/status")
_RESET_HIGH_WATER_MARK = "5"  # proc(5): VmHWM starts again from what is resident now

PER_STEP = "resident high-water mark, set back before each step"
WHOLE_PROCESS = "largest resident size of the process so far"


class PeakMemory:
    """A high-water mark that starts where it is made. `meaning` says what the figure covers on this machine."""

    def __init__(self) -> None:
        self.meaning = PER_STEP if _set_back() else WHOLE_PROCESS

    def megabytes(self) -> float:
        """The peak since the mark was made, or of the whole process where the system cannot set it back."""
        if _STATUS.exists():
            found = re.search(r"VmHWM:\s+(\d+) kB", _STATUS.read_text())
            if found:
                return int(found.group(1)) / 1024
        return _process_peak()


def _set_back() -> bool:
    """Whether the kernel's mark could be set back."""
    try:
        _CLEAR.write_text(_RESET_HIGH_WATER_MARK)
    except OSError:  # no such file on other systems, or not allowed in a sandbox
        return False
    return True


def _process_peak() -> float:
    if sys.platform == "win32":
        return _windows_peak()
    import resource

    used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return used / 1024**2 if sys.platform == "darwin" else used / 1024


def _windows_peak() -> float:
    """PeakWorkingSetSize of the process (K32GetProcessMemoryInfo)."""
    import ctypes
    from ctypes import wintypes

    class Counters(ctypes.Structure):
        _fields_ = [("cb", wintypes.DWORD), ("PageFaultCount", wintypes.DWORD)] + [
            (f"size{number}", ctypes.c_size_t) for number in range(8)
        ]

    counters = Counters(cb=ctypes.sizeof(Counters))
    kernel = ctypes.WinDLL("kernel32", use_last_error=True)  # type: ignore[attr-defined, unused-ignore]
    kernel.GetCurrentProcess.restype = wintypes.HANDLE
    kernel.K32GetProcessMemoryInfo.argtypes = [wintypes.HANDLE, ctypes.c_void_p, wintypes.DWORD]
    if not kernel.K32GetProcessMemoryInfo(kernel.GetCurrentProcess(), ctypes.byref(counters), counters.cb):
        return math.nan  # not known: better no figure than a wrong one
    return float(counters.size0) / 1024**2
