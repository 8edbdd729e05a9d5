"""Buttons that ask for one file first: what those of recipes, margins and photographs' marks share."""

from pathlib import Path
from typing import Any, ClassVar

import bpy

from ..scene.settings import RELATIVE


class OneFile:
    """An operator that opens the host's file browser and then runs on the file that was chosen."""

    offered: ClassVar[str] = ""
    """The name a file is written under unless another is typed; empty where one is read."""

    filepath: bpy.props.StringProperty(
        name="File", description="Path of the file", subtype="FILE_PATH", options={"SKIP_SAVE"} | RELATIVE
    )

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        operator: Any = self
        if self.offered:
            operator.filepath = self.offered
        context.window_manager.fileselect_add(operator)
        return {"RUNNING_MODAL"}

    def path(self) -> Path:
        """The file that was chosen; written under the ending of the one offered where it was typed without."""
        path = Path(bpy.path.abspath(self.filepath))
        return path if path.suffix or not self.offered else path.with_suffix(Path(self.offered).suffix)
