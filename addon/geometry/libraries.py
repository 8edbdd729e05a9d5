"""Bundled libraries that are not there, or that clash with others: told in a sentence rather than by a traceback."""

from collections.abc import Iterator
from contextlib import contextmanager

from .errors import MissingLibrary

BUNDLED = ("numpy", "scipy", "manifold3d", "fast_simplification")
"""Modules that come with the extension, or with the host."""


@contextmanager
def told_if_missing() -> Iterator[None]:
    """Within it, a bundled library that cannot be imported is a `MissingLibrary`; any other import error is a bug."""
    try:
        yield
    except ImportError as fault:
        library = (fault.name or "").split(".")[0]
        if library not in BUNDLED:
            raise
        raise MissingLibrary(
            f"the library {library} cannot be loaded ({fault}): install Canthus from its own zip, which brings it "
            "along, and switch off extensions that bring another one"
        ) from fault
