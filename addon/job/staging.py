"""Results are made in a folder of their own and moved in at the end, so nothing half-written is ever left."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ..geometry.errors import BadFile


@contextmanager
def staged(folder: Path) -> Iterator[Path]:
    """A new, empty folder whose content is moved into `folder` when the block ends well.

    Parameters
    ----------
    folder : where the results go; made, with those above it, when there is something to put in

    Yields
    ------
    A folder on the same disk. When the block raises anything, Ctrl-C included, it is removed with all in it and
    `folder` is as it was. A file or folder of the same name in `folder` is replaced.

    Raises
    ------
    BadFile
        `folder` is a file, or cannot be written to.
    """
    if folder.exists() and not folder.is_dir():
        raise BadFile(f"{folder}: not a folder: name another one")
    try:
        waiting = Path(tempfile.mkdtemp(prefix=".canthus-", dir=_nearest(folder)))
    except OSError as error:
        raise BadFile(f"{folder}: cannot be written to ({error.strerror})") from None
    try:
        yield waiting
        try:
            _move_in(waiting, folder)
        except OSError as error:
            raise BadFile(f"{folder}: cannot be written to ({error.strerror})") from None
    finally:
        shutil.rmtree(waiting, ignore_errors=True)


def _nearest(folder: Path) -> Path:
    """The folder's nearest parent that exists: what is renamed from there stays on one disk."""
    return next(parent for parent in folder.absolute().parents if parent.is_dir())


def _move_in(waiting: Path, folder: Path) -> None:
    if not folder.exists():
        folder.parent.mkdir(parents=True, exist_ok=True)
        waiting.chmod(0o777 & ~_umask())  # mkdtemp's own is for its user alone
        waiting.rename(folder)
        return
    # Sorted, so that the plain files of a folder come in the same order every time.
    for entry in sorted(waiting.iterdir()):
        goal = folder / entry.name
        if goal.is_dir():
            goal.rename(waiting / f"{entry.name}.before")
        os.replace(entry, goal)


def _umask() -> int:
    """The process's file mode mask; the system only tells it by setting it."""
    mask = os.umask(0o022)
    os.umask(mask)
    return mask
