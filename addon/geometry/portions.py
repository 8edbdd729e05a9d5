"""Work on many rows done in portions that fit the cache, on all cores."""

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

from .progress import SILENT, Progress

T = TypeVar("T")


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


def from_portions(count: int, size: int, work: Callable[[slice], T]) -> list[T]:
    """What the work gives for every portion of so many rows, in their order; one of no rows where there are none."""
    parts = [slice(start, min(start + size, count)) for start in range(0, max(count, 1), size)]
    if len(parts) == 1:
        return [work(parts[0])]
    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        return list(pool.map(work, parts))
