"""The step that writes the parts."""

from dataclasses import dataclass
from pathlib import Path

from ...geometry.errors import BadFile, BadSetting, NotReady
from ...geometry.progress import SILENT, Progress
from ..kinds import NOTHING, kinds
from ..step import Step, setting
from ..workpiece import Workpiece


@dataclass(frozen=True)
class Export(Step):
    """Write every part as binary STL, all as one 3MF, and each with its colours as PLY, made up for shrinkage."""

    NAME = "export"
    STAGE = "output"
    READS = kinds("frame", "hair", "head", "parts", "scale")
    CHANGES = NOTHING

    folder: str = setting("", help="Folder to write to; made if it is not there")
    stl: bool = setting(True, help="Write one binary STL a part")
    package: bool = setting(True, help="Write one 3MF with all parts by name, in millimetres, side by side")
    colours: bool = setting(True, help="Write one PLY a part, with its colours")
    gauge: bool = setting(False, help="Add a plate and a peg that measure your printer's shrinkage and fits")
    overwrite: bool = setting(False, help="Replace files that are there already")

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece as it was; the files are whole and under their names, or nothing has changed on disk."""
        from ...files.parts import write_parts
        from ...geometry.solids.gauge import gauge
        from .shrinkage import as_exported, growth_of

        if not self.folder:
            raise BadSetting("export: name the folder to write to (--folder)")
        formats = [name for name, wanted in (("stl", self.stl), ("3mf", self.package), ("ply", self.colours)) if wanted]
        if not formats:
            raise BadSetting("export: nothing to write: leave stl, package or colours on")
        parts = as_exported(piece).all_parts()
        if not parts:
            raise NotReady("export: there is no part yet: run close first")
        if self.gauge:
            parts |= gauge()  # as it is: the shrinkage is what it measures
        progress(0.0, f"writing {len(parts)} parts")
        folder = Path(self.folder)
        made = _made(folder)
        try:
            written = write_parts(folder, piece.name, parts, formats, self.overwrite)
        except BaseException:
            for each in made:
                each.rmdir()
            raise
        sizes = {name: path.stat().st_size for name, path in written.items()}
        figures = {"files": sorted(sizes), "bytes": sum(sizes.values()), "parts": len(parts)}
        return piece.measured(**figures, larger_by_percent=100 * (growth_of(piece) - 1))


def _made(folder: Path) -> list[Path]:
    """Make the folder; what had to be made, deepest first, so that it can be taken away again."""
    missing = [each for each in (folder, *folder.parents) if not each.exists()]
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise BadFile(f"{folder}: no folder can be made there: {fault.strerror}") from None
    return missing
