# SPDX-License-Identifier: GPL-3.0-or-later
"""Canthus: from a raw scan of a head to a printable portrait head with separate eyes.

The same folder is the Blender extension and the Python package `canthus`. Importing it loads nothing; Blender calls
`register`, which brings in the host room.
"""


def register() -> None:
    """Add the panels, operators and the command to Blender."""
    from .host import registration

    registration.register()


def unregister() -> None:
    """Take them away again."""
    from .host import registration

    registration.unregister()
