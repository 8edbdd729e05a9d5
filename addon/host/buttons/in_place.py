"""Work on the workpiece in one go: read it, do something with it, tell once what is wrong."""

from collections.abc import Callable

import bpy

from ...geometry.errors import CanthusError
from ...job.errands import ERRANDS
from ...steps.workpiece import Workpiece
from ..scene import scene_piece
from ..scene.modes import object_mode
from ..scene.wording import as_shown


def done_in_place(
    button: bpy.types.Operator,
    context: bpy.types.Context,
    work: Callable[[bpy.types.Collection, Workpiece], None],
) -> set[str]:
    """Do `work` with the collection of the head in hand and the workpiece it holds, in Object Mode.

    Gives what an operator's `execute` gives. What the sculptor can mend is told in one line, and nothing is written.
    """
    try:
        with object_mode(context):
            collection = scene_piece.piece_collection(context)
            work(collection, scene_piece.read_piece(collection, context.scene))
    except CanthusError as error:
        button.report({"ERROR"}, told(error))
        return {"CANCELLED"}
    return {"FINISHED"}


def told(error: CanthusError) -> str:
    """An error's line as the host shows it: what an errand is called inside the house says nothing to a sculptor."""
    text = str(error)
    for errand in ERRANDS:
        text = text.removeprefix(f"{errand.NAME}: ")
    return as_shown(text)
