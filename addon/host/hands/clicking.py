"""One click on something in an editor, waited for: what setting a landmark and marking a photograph share."""

from typing import Any

import bpy


class OneClick:
    """An operator that waits for a click, and then runs. `taken` says what a click is good for."""

    def taken(self, context: bpy.types.Context, event: bpy.types.Event) -> bool:
        """Keep the place under the mouse as a setting; False where there is none."""
        raise NotImplementedError

    def execute(self, context: bpy.types.Context) -> set[str]:
        raise NotImplementedError

    def wait(self, context: bpy.types.Context, what: str) -> set[str]:
        """Begin to wait for the click that shows where `what` is."""
        operator: Any = self
        context.window.cursor_modal_set("CROSSHAIR")
        context.workspace.status_text_set(f"Click on the {what}   Esc: Cancel")
        context.window_manager.modal_handler_add(operator)
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        if event.type in ("ESC", "RIGHTMOUSE"):
            self.cancel(context)
            return {"CANCELLED"}
        if event.type != "LEFTMOUSE" or event.value != "PRESS":
            return {"PASS_THROUGH"}
        if not self.taken(context, event):
            return {"RUNNING_MODAL"}
        self.cancel(context)
        return self.execute(context)

    def cancel(self, context: bpy.types.Context) -> None:
        context.window.cursor_modal_restore()
        context.workspace.status_text_set(None)
