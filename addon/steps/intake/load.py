"""The step that brings a capture to millimetres."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...anatomy.face.units import MILLIMETRES, Proposal, propose_unit
from ...geometry.cloud import Cloud
from ...geometry.errors import BadSetting, NotReady
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ...geometry.transforms import transform
from ..kinds import ALL, NOTHING
from ..step import Step, setting
from ..surface.target import mended
from ..workpiece import Workpiece


@dataclass(frozen=True)
class Load(Step):
    """Bring the capture to millimetres: its unit told from the size of the head, or given."""

    NAME = "load"
    STAGE = "intake"
    NEEDS = ()
    READS = NOTHING
    CHANGES = ALL

    units: str = setting(
        "auto", choices=("auto", *MILLIMETRES), help="Unit of the file's numbers; auto tells it from the head's size"
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece in millimetres, `units_in` and `frame` set. A unit that is not plain is asked for."""
        progress(0.0, "telling the unit")
        if piece.scan is None:
            raise NotReady("load: there is no scan: name a file to read")
        points = piece.scan.points if isinstance(piece.scan, Cloud) else piece.scan.vertices
        proposal = propose_unit(points)
        unit = self._decided(proposal)
        factor = MILLIMETRES[unit]
        loaded = piece.moved(transform(np.eye(3) * factor)).but(units_in=unit)
        if isinstance(loaded.scan, Mesh):
            progress(0.5, "looking for faults of the mesh")
            loaded, mesh = mended(loaded, loaded.scan)
            loaded = loaded.but(scan=mesh)
        for note in self._remarks(proposal, unit):
            loaded = loaded.noted(note)
        figures = _figures(piece.scan, points * factor)
        return loaded.measured(**figures, units_in=unit, head_side_mm=proposal.side * factor)

    def _decided(self, proposal: Proposal) -> str:
        """The unit given, or the one proposed where there is no doubt."""
        if self.units != "auto":
            return self.units
        if not proposal.certain:
            asked = " or ".join(f"--units {unit}" for unit in proposal.candidates or tuple(MILLIMETRES))
            raise BadSetting(f"load: the unit cannot be told for certain: {proposal.why} ({asked})")
        return proposal.unit

    def _remarks(self, proposal: Proposal, unit: str) -> tuple[str, ...]:
        if self.units == "auto":
            return (f"The file's numbers were taken for {unit}: {proposal.why}",)
        if proposal.candidates and unit not in proposal.candidates:
            return (f"Taken for {unit} as asked, though {proposal.why}",)
        return ()


def _figures(scan: object, points: NDArray[np.float64]) -> dict[str, float | int | bool]:
    """What came in, and its box in millimetres."""
    width, depth, height = np.ptp(points, axis=0).tolist()
    triangles = 0 if isinstance(scan, Cloud) else len(getattr(scan, "triangles", ()))
    return {
        "points": len(points),
        "triangles": triangles,
        "coloured": getattr(scan, "colours", None) is not None,
        "x_mm": width,
        "y_mm": depth,
        "z_mm": height,
    }
