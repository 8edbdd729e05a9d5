"""Where the panels stand: the tab of the extension in the sidebars of the 3D view and of the image editor."""

TAB = "Canthus"


class ViewTab:
    """A panel of the 3D view's sidebar."""

    bl_space_type, bl_region_type, bl_category = "VIEW_3D", "UI", TAB


class ImageTab:
    """A panel of the image editor's sidebar."""

    bl_space_type, bl_region_type, bl_category = "IMAGE_EDITOR", "UI", TAB
