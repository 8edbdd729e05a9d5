"""Whether what was made can be printed, washed and put together."""

from dataclasses import dataclass

import numpy as np

from ...geometry.errors import BadSetting
from ...geometry.progress import SILENT, Progress
from ..kinds import ALL, NOTHING, kinds
from ..step import Step, setting
from ..workpiece import Check as Finding
from ..workpiece import Workpiece


@dataclass(frozen=True)
class Check(Step):
    """Check every part for what keeps it from printing or from going together, and tell where."""

    NAME = "check"
    STAGE = "output"
    READS = ALL - kinds("scan")
    CHANGES = NOTHING

    least_wall: float = setting(
        0.4, low=0.05, high=10, unit="mm", at="print", help="Wall that prints when it is held on two sides or more"
    )
    thin_share: float = setting(
        1.0, low=0.0, high=100, unit="%", help="Share of a part's surface that may have less wall than that"
    )
    printer: str = setting("medium", help="Printer the parts are for: small, medium, large, or one of your own table")
    printers: str = setting("", kind="path", help="TOML file of your own printers: plate, pixel and layer of each")
    density: float = setting(1.1, low=0.5, high=3, unit="g/ml", help="Density of the cured resin")
    up: tuple[float, ...] = setting(
        (0.0, 0.0, 1.0), kind="point", help="The way up as the parts are printed: x,y,z; the neck is down by default"
    )
    price: float = setting(0.0, low=0.0, high=10_000, help="Price of a litre of resin; 0 leaves the cost out")
    walls: bool = setting(False, help="Write the wall under each place into the parts' column wall_mm, to look at")

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with `checks`; no shape of it is changed."""
        from ...geometry.measures import volume
        from .findings import cavity_findings, surface_findings, wall_findings
        from .gaps import clearance_findings, overlap_findings
        from .layer_findings import layer_findings, vent_findings
        from .printers import printer_named
        from .shrinkage import growth_of
        from .sizes import size_findings
        from .standing import advice, suggested_stands
        from .wall_map import with_wall_maps

        piece.needed_head()
        printer = printer_named(self.printer, self.printers)
        up = np.asarray(self.up, dtype=np.float64)
        if not up.any():
            raise BadSetting("check: up has no length: give a direction such as 0,0,1")
        parts, growth = piece.all_parts(), growth_of(piece)
        found: list[Finding] = []
        for number, (name, mesh) in enumerate(parts.items()):
            own = progress.stretch(0.8 * number / len(parts), 0.8 * (number + 1) / len(parts))
            own(0.0, f"checking the faces of {name}")
            found += surface_findings(name, mesh, printer.pixel, self.least_wall)
            found += cavity_findings(name, mesh)
            own(0.3, f"measuring the walls of {name}")
            found += wall_findings(name, mesh, piece, self.least_wall, printer.pixel, self.thin_share)
            own(0.6, f"measuring the size of {name}")
            found += size_findings(name, mesh, printer, growth)
            own(0.8, f"looking at the layers of {name}")
            found += layer_findings(name, mesh, up, printer)
        progress(0.8, "looking for overlaps")
        found += overlap_findings(parts)
        progress(0.9, "measuring the gaps round the eyes")
        found += clearance_findings(parts, piece.eyes)
        found += vent_findings(piece, up)
        progress(0.95, "trying the parts other ways up")
        rows = suggested_stands(piece, up, printer)
        resin = growth**3 * sum(volume(mesh) for mesh in parts.values()) / 1000
        # What earlier steps found stands: theirs carry no part's name before a colon.
        earlier = [each for each in piece.checks if ": " not in each.name]
        checked = piece.but(checks=(*earlier, *found)).measured(
            checks=len(found),
            failed=sum(not each.ok for each in found),
            grave=sum(not each.ok and each.grave for each in found),
            resin_ml=resin,
            mass_g=resin * self.density,
            stands=rows,
        )
        for sentence in filter(None, map(advice, rows)):
            checked = checked.noted(sentence)
        if self.walls:
            checked = with_wall_maps(checked, self.least_wall)
        return checked.measured(cost=resin / 1000 * self.price) if self.price else checked
