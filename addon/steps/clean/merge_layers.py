"""The step that brings two skins to one."""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ...geometry.cloud import Cloud
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ..kinds import SCAN
from ..step import Step, setting
from ..workpiece import Workpiece
from .cloud_target import cloud_of


@dataclass(frozen=True)
class MergeLayers(Step):
    """Bring skins that lie over each other to one, the misplaced one laid onto the body's."""

    NAME = "merge-layers"
    STAGE = "clean"
    NEEDS = ("scan",)
    READS = SCAN
    CHANGES = SCAN

    widest: float = setting(
        1.2, low=0.2, high=5.0, unit="mm", at="life", help="Widest gap between two skins; a lid must be thicker"
    )
    mode: str = setting(
        "merge", choices=("merge", "mark"), help="Merge the skins, or mark the second one in a column 'layer'"
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with one skin, and where the others lay and how far off."""
        from ...geometry.cleaning.layers import merged_layers, spread

        cloud = cloud_of(piece, self.NAME)
        found = merged_layers(cloud.points, self.widest * piece.scale, _passes(cloud), progress.stretch(0, 0.9))
        progress(0.9, "measuring how thick the skin is")
        piece = piece.measured(
            second_skins=len(found.layers),
            second_skin_points=int(found.moved.sum()),
            offsets_mm=[layer.offset for layer in found.layers],
            places_mm=[layer.middle.tolist() for layer in found.layers],
            noise_mm=found.noise,
            spread_before_mm=(before := spread(cloud.points)),
            spread_mm=spread(found.points) if found.layers else before,
        )
        for layer in found.layers:
            x, y, z = layer.middle
            piece = piece.noted(
                f"A second skin of {layer.points} points lay {layer.offset:.2f} mm off "
                f"around ({x:.0f}, {y:.0f}, {z:.0f}): "
                f"{'it was laid onto the first' if self.mode == 'merge' else 'it is marked'}."
            )
        scan = piece.scan if isinstance(piece.scan, Mesh) else cloud
        if self.mode == "mark":
            return piece.but(scan=scan.with_column("layer", found.moved.astype(np.uint8)))
        if isinstance(scan, Mesh):
            return piece.but(scan=replace(scan, vertices=found.points))
        return piece.but(scan=replace(scan, points=found.points))


def _passes(cloud: Cloud) -> NDArray[np.integer[Any]] | None:
    """(n,) which pass saw each point, where the scan says so."""
    view = cloud.columns.get("view")
    return None if view is None else np.asarray(view, dtype=np.int64)
