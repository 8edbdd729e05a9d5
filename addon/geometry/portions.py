"""Work on many rows done in portions that fit the cache, on all cores."""

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

from .progress import SILENT, Progress


def in_portions(
    count: int, size: int, work: Callable[[slice], None], progress: Progress = SILENT, what: str = ""
) -> None:
    """Call the work for every portion of so many rows, several at a time.

    Parameters
    ----------
    count : rows in all
    size : rows of a portion, the last one shorter
    work : told which rows; writes those only, so that the outcome does not hang on who comes first
    progress : told how far the work is, and what is being done; when it stops the work, no further portion is begun
    what : the words for it
    """
    parts = [slice(start, min(start + size, count)) for start in range(0, count, size)]
    pool = ThreadPoolExecutor(os.cpu_count() or 1)
    try:
        for number, _ in enumerate(pool.map(work, parts)):
            if number % 16 == 0:
                progress(number / len(parts), what)
    finally:
        pool.shutdown(cancel_futures=True)
