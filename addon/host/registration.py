"""What Blender is told when the extension is enabled, and what is taken away when it is disabled.

Nothing heavy is imported here: the solid and sparse libraries come in with the first step that needs them.
"""

import bpy

from .buttons import (
    chain_operator,
    compare_operator,
    files_operator,
    masks,
    panels,
    part_operators,
    photo_panel,
    presets,
    progress,
    recipe_operators,
    show_operators,
    step_operator,
    viewport,
)
from .drawn import clouds, eyeballs, maps, marks, overlays, shapes
from .hands import brow_operators, camera_operators, handles, landmark_operators, photo_operators, photo_overlay, planes
from .scene import opening, photo_images, settings

_DRAWN = (
    clouds.DRAWN,
    overlays.DRAWN,
    planes.DRAWN,
    eyeballs.DRAWN,
    maps.DRAWN,
    masks.DRAWN,
    marks.DRAWN,
    handles.DRAWN,
    photo_overlay.DRAWN,
)
"""What is drawn over the view, in this order."""
_registered: list[type] = []
_command: list[object] = []


def register() -> None:
    """Classes first, then what points at them."""
    for each in _classes():
        bpy.utils.register_class(each)
        _registered.append(each)
    bpy.types.Scene.canthus = bpy.props.PointerProperty(type=_named("CANTHUS_PG_settings"))
    bpy.types.WindowManager.canthus = bpy.props.PointerProperty(type=progress.CANTHUS_PG_progress)
    bpy.types.WindowManager.canthus_overlays = bpy.props.PointerProperty(type=overlays.CANTHUS_PG_overlays)
    bpy.types.Image.canthus_photo = bpy.props.PointerProperty(type=photo_images.CANTHUS_PG_photo)
    for each in _DRAWN:
        each.register()
    bpy.app.handlers.load_pre.append(_forget)
    bpy.app.handlers.load_post.append(opening.after_load)
    bpy.app.handlers.undo_post.append(viewport.after_undo)
    bpy.app.handlers.redo_post.append(viewport.after_undo)
    _command.append(bpy.utils.register_cli_command("canthus", run_command))


def unregister() -> None:
    """In the opposite order, so that nothing points at what is gone."""
    while _command:
        bpy.utils.unregister_cli_command(_command.pop())
    bpy.app.handlers.load_pre.remove(_forget)
    bpy.app.handlers.load_post.remove(opening.after_load)
    bpy.app.handlers.undo_post.remove(viewport.after_undo)
    bpy.app.handlers.redo_post.remove(viewport.after_undo)
    for each in reversed(_DRAWN):
        each.unregister()
    _forget()
    del bpy.types.WindowManager.canthus_overlays
    del bpy.types.Image.canthus_photo
    del bpy.types.WindowManager.canthus
    del bpy.types.Scene.canthus
    while _registered:
        bpy.utils.unregister_class(_registered.pop())


@bpy.app.handlers.persistent  # type: ignore[untyped-decorator]
def _forget(*_: object) -> None:
    """Drop what is kept for drawing before another file takes the place of this one."""
    shapes.forget()
    planes.forget()
    viewport.forget()


def run_command(argv: list[str]) -> int:
    """`blender --command canthus ...`: the same command line, with this Blender as the studio."""
    from ..job.command import main
    from .pictures.studio import BlenderStudio

    return main(argv, BlenderStudio() if argv[:1] == ["make"] else None)


def _classes() -> list[type]:
    return [
        progress.CANTHUS_PG_progress,
        overlays.CANTHUS_PG_overlays,
        *settings.group_classes(),
        *photo_images.CLASSES,
        *step_operator.operator_classes(),
        *files_operator.CLASSES,
        *chain_operator.CLASSES,
        *landmark_operators.CLASSES,
        *handles.CLASSES,
        *brow_operators.CLASSES,
        *planes.CLASSES,
        *masks.CLASSES,
        *part_operators.CLASSES,
        *show_operators.CLASSES,
        *compare_operator.CLASSES,
        *recipe_operators.CLASSES,
        *presets.classes(),
        *panels.panel_classes(),
        *photo_operators.CLASSES,
        *camera_operators.CLASSES,
        *photo_panel.CLASSES,
    ]


def _named(name: str) -> type:
    return next(each for each in _registered if each.__name__ == name)
