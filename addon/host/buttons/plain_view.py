"""The view drawn plainly while work goes on beside it, where the host draws without a graphics card.

There a picture takes the processor a fifth of a second whatever is in it: what is passed over the whole picture once
more (folds darkened, outlines, the ground's grid) is left away as long as the processor is wanted for the work.
"""

from collections.abc import Mapping, Sequence

import bpy
import gpu

from . import viewport

Kept = Mapping[int, Sequence[str]]
"""By a view's address: what was switched off in it. A view itself may be closed meanwhile."""
_SLOW = ("llvmpipe", "softpipe", "swrast", "software", "basic render")
"""What drivers that draw with the processor are called, in small letters."""
_SHADING = ("show_cavity", "show_object_outline")
_OVERLAY = ("show_floor", "show_axis_x", "show_axis_y")


def begin(context: bpy.types.Context) -> Kept:
    """Switch off what costs a slow driver most, and say what to switch on again."""
    if bpy.app.background or not slow(gpu.platform.renderer_get()):
        return {}
    return switched_off(context)


def switched_off(context: bpy.types.Context) -> Kept:
    """`begin`, whatever draws."""
    kept: dict[int, list[str]] = {}
    for space in viewport.views(context):
        for name in (*_SHADING, *_OVERLAY):
            holder = _holder(space, name)
            if getattr(holder, name):
                setattr(holder, name, False)
                kept.setdefault(space.as_pointer(), []).append(name)
    return kept


def end(context: bpy.types.Context, kept: Kept) -> None:
    """Switch on again what was switched off."""
    for space in viewport.views(context):
        for name in kept.get(space.as_pointer(), ()):
            setattr(_holder(space, name), name, True)


def slow(renderer: str) -> bool:
    """Whether a driver of this name draws with the processor."""
    return any(each in renderer.lower() for each in _SLOW)


def _holder(space: bpy.types.SpaceView3D, name: str) -> bpy.types.View3DShading | bpy.types.View3DOverlay:
    return space.shading if name in _SHADING else space.overlay
