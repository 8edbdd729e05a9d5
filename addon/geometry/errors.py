"""What Canthus raises when the work cannot be done: one line that says what, where and what to do."""


class CanthusError(Exception):
    """Anything the user can mend. Its text is one line: what is wrong, where, what to do."""


class BadMesh(CanthusError):
    """A mesh that does not hold what the operation needs (closed, indexed right, not empty)."""


class BadCloud(CanthusError):
    """A point cloud that does not hold what the operation needs."""


class BadSetting(CanthusError):
    """A setting out of its range, of the wrong kind, or at odds with another."""


class BadFile(CanthusError):
    """A file that cannot be read as what it says it is, or cannot be written."""


class NotReady(CanthusError):
    """The workpiece lacks something an earlier step makes."""


class NotPossible(CanthusError):
    """Sound input and settings for which there is no answer (a peg wider than the neck)."""


class MissingLibrary(CanthusError):
    """A bundled library is absent or lacks a function that is called."""
