"""Work beside the window: gone on with a stretch at a time from a timer, told as it goes, given up at Esc."""

import time
from types import MappingProxyType

import bpy

from ...geometry.errors import CanthusError
from ..drawn import drawing
from ..scene.wording import as_shown
from . import plain_view
from .child import Child
from .in_place import told

_STOP = {"ESC"}
_SEEN = 0.003
"""Least progress that is seen on a bar as wide as the sidebar."""


class Beside:
    """What the buttons share whose work goes on beside the window. `goes_on` does a stretch of it."""

    child: Child | None = None
    begun = 0.0
    plain: plain_view.Kept = MappingProxyType({})

    def goes_on(self, context: bpy.types.Context) -> bool:
        """One stretch of the work; False at the end.

        Raises
        ------
        CanthusError
            What is wrong. Nothing has been written.
        """
        raise NotImplementedError

    def told_at_the_end(self) -> None:
        """Say what was done."""
        raise NotImplementedError

    def go_beside(self, context: bpy.types.Context, what: str) -> set[str]:
        """Begin: the work goes on from a timer, so that the window comes round between."""
        self.timer = context.window_manager.event_timer_add(0.1, window=context.window)
        context.window_manager.modal_handler_add(self)
        progress = context.window_manager.canthus
        progress.stop, progress.title, progress.running = False, self.bl_label, True
        self.begun = time.monotonic()
        self.plain = plain_view.begin(context)
        self.show_progress(context, 0.0, what)
        drawing.redraw(context)
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        if (event.type in _STOP and event.value == "PRESS") or context.window_manager.canthus.stop:
            self.cancel(context)
            self.report({"INFO"}, f"{self.bl_label} stopped, nothing has changed")
            return {"CANCELLED"}
        if event.type != "TIMER":
            return {"PASS_THROUGH"}
        try:
            if self.goes_on(context):
                return {"RUNNING_MODAL"}
        except CanthusError as error:
            self.cancel(context)
            self.report({"ERROR"}, told(error))
            return {"CANCELLED"}
        self.end_progress(context)
        self.told_at_the_end()
        return {"FINISHED"}

    def cancel(self, context: bpy.types.Context) -> None:
        """The host calls this too, when a file is loaded or it quits in the middle."""
        if self.child is not None:
            self.child.stop()
            self.child = None
        self.end_progress(context)

    def show_progress(self, context: bpy.types.Context, fraction: float, what: str) -> None:
        """Say how far it is. Only the sidebar is drawn anew: the view has not changed, and may be slow to draw."""
        progress, what = context.window_manager.canthus, as_shown(what)
        seconds = int(time.monotonic() - self.begun)
        near = abs(progress.fraction - fraction) < _SEEN
        if near and (progress.what, progress.seconds) == (what, seconds):
            return
        progress.fraction, progress.what, progress.seconds = fraction, what, seconds
        context.workspace.status_text_set(f"{self.bl_label}: {what}   {seconds} s   Esc: Cancel")
        redraw_sidebars(context)

    def end_progress(self, context: bpy.types.Context) -> None:
        context.window_manager.canthus.running = False
        if getattr(self, "timer", None) is not None:
            context.window_manager.event_timer_remove(self.timer)
            self.timer = None
        if context.workspace is not None:
            context.workspace.status_text_set(None)
        plain_view.end(context, self.plain)
        redraw_sidebars(context)
        drawing.redraw(context)


def beside_wanted(context: bpy.types.Context) -> bool:
    """Whether there is a window to work beside: pressed by a hand, not called without one."""
    return not bpy.app.background and context.window is not None and context.area is not None


def redraw_sidebars(context: bpy.types.Context) -> None:
    """Have the tabs of every 3D view drawn again."""
    for window in context.window_manager.windows:
        for area in window.screen.areas:
            if area.type == "VIEW_3D":
                for region in area.regions:
                    if region.type == "UI":
                        region.tag_redraw()
