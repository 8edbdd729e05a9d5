"""A file that was made to be looked at opens with our tab in the sidebar."""

import bpy

from .tabs import TAB

READY = "canthus_open_tab"
"""Set on a scene that is to open so. It is taken off then, so that a file saved afterwards opens as it was left."""
_AGAIN = 0.3
_TRIES = 20
_left = [0]


@bpy.app.handlers.persistent  # type: ignore[untyped-decorator]
def after_load(*_: object) -> None:
    """Ask for the tab where the file wants it. A sidebar's tabs are known only once it has been drawn, which on a busy
    machine takes a while: it is asked for until it is there.
    """
    scenes = [scene for scene in bpy.data.scenes if READY in scene]
    for scene in scenes:
        del scene[READY]
    if scenes and not bpy.app.background:
        _left[0] = _TRIES
        bpy.app.timers.register(_open_tab, first_interval=_AGAIN)


def _open_tab() -> float | None:
    regions = [
        region
        for window in bpy.context.window_manager.windows
        for area in window.screen.areas
        if area.type == "VIEW_3D" and area.spaces[0].show_region_ui
        for region in area.regions
        if region.type == "UI"
    ]
    _left[0] -= 1
    if regions and all(each.active_panel_category == TAB for each in regions):
        return None
    for region in regions:
        if region.active_panel_category not in ("", "UNSUPPORTED", TAB):
            region.active_panel_category = TAB
            region.tag_redraw()
    return _AGAIN if _left[0] > 0 else None
