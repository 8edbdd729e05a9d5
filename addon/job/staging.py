"""Results are made in a folder of their own and moved in at the end, so nothing half-written is ever left."""

import os
import secrets
import shutil
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
    A folder on the same disk, in `folder` where that is there. When the block raises anything, Ctrl-C included, it is
    removed with all in it and `folder` is as it was. A file or folder of the same name in `folder` is replaced.

    Raises
    ------
    BadFile
        `folder` is a file, or cannot be written to.
    """
    if folder.exists() and not folder.is_dir():
        raise BadFile(f"{folder}: is no folder: name another one")
    waiting = _nearest(folder) / f".canthus-{secrets.token_hex(6)}"
    try:
        waiting.mkdir()
        yield waiting
        _move_in(waiting, folder)
    except OSError as fault:
        raise BadFile(f"{folder}: cannot be written: {fault.strerror or fault}") from None
    except BadFile as fault:  # told of the place it was for
        raise BadFile(str(fault).replace(str(waiting), str(folder))) from None
    finally:
        shutil.rmtree(waiting, ignore_errors=True)


def _nearest(folder: Path) -> Path:
    """The folder, or its nearest parent that exists: one may write there, and what is renamed stays on one disk.

    Not above a folder that is there: a home lies in a folder nobody else may write to, a stick's on another disk.
    """
    place = folder.absolute()
    return next(each for each in (place, *place.parents) if each.is_dir())


def _move_in(waiting: Path, folder: Path) -> None:
    if not folder.exists():
        folder.parent.mkdir(parents=True, exist_ok=True)
        waiting.rename(folder)
        return
    # Sorted, so that the plain files of a folder come in the same order every time.
    for entry in sorted(waiting.iterdir()):
        goal = folder / entry.name
        if goal.is_dir():
            goal.rename(waiting / f"{entry.name}.before")
        os.replace(entry, goal)
