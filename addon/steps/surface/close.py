"""The step that turns what was scanned into one closed head."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ...geometry.cloud import Cloud
from ...geometry.errors import NotReady
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ..kinds import SCAN, kinds
from ..step import Step, setting
from ..workpiece import Workpiece
from .target import mended


@dataclass(frozen=True)
class Close(Step):
    """Close the scan into one watertight head, sharp where points are dense, smooth where nothing was seen."""

    NAME = "close"
    STAGE = "surface"
    NEEDS = ("scan",)
    READS = SCAN
    CHANGES = kinds("head", "skin")

    resolution: float = setting(
        0.0, low=0.0, high=10.0, unit="mm", at="life", help="Step of the grid the surface is cut from; 0 chooses it"
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with `head` and `skin` closed, each vertex with its confidence and distance from the data."""
        from ...geometry.distances.sampling import spread_over
        from ...geometry.measures import area, edge_faults, genus, triangle_areas, volume
        from ...geometry.mending.untangling import untangled
        from ...geometry.surfacing.closing import closed_surface
        from ...geometry.surfacing.visibility import outer_wall

        scan = piece.scan
        if scan is None or not len(scan.points if isinstance(scan, Cloud) else scan.triangles):
            raise NotReady("there is no scan to close: load one first")
        if isinstance(scan, Mesh):
            piece, scan = mended(piece, scan)
            faults = edge_faults(scan)
            if not faults and not self.resolution and volume(scan) > 0:
                return _kept_as_it_is(piece, scan)
            piece = piece.noted(f"The mesh had {faults}: it was surfaced anew from its points and normals.")
            spacing = _edge(scan)
            scan = spread_over(scan, spacing)
            outside = outer_wall(scan.points, np.asarray(scan.normals), spacing)
            if outside.mean() < _SOLID:
                piece = piece.noted("The mesh is a hollow shell: its inner walls were left out and it was filled.")
                scan = scan.kept(outside)
        closed = closed_surface(
            scan.points, _outward(scan), scan.colours, self.resolution * piece.scale, progress.stretch(0, 0.9)
        )
        # where two sheets pass within one cell the extractor may let their faces cross: a cell's width mends that
        head, crossing, still = untangled(closed.mesh, reach=closed.resolution, progress=progress.stretch(0.9, 1.0))
        if still:
            piece = piece.noted(f"{still} faces of the closed surface still pass through one another.")
        areas = triangle_areas(head)
        seen = (head.columns["confidence"][head.triangles].mean(axis=1) > 0.5) @ areas / areas.sum()
        piece = piece.measured(
            resolution_mm=closed.resolution,
            spacing_mm=closed.spacing,
            triangles=len(head.triangles),
            area_mm2=area(head),
            volume_mm3=volume(head),
            genus=genus(head),
            pieces_dropped=closed.pieces_dropped,
            handles_cut=closed.handles_cut,
            crossing_faces_relaxed=crossing,
            seen_percent=100 * float(seen),
            farthest_from_data_mm=float(head.columns["distance_from_data_mm"].max()),
        )
        piece = _with_fills(piece, head)
        if seen < 0.8:
            piece = piece.noted(
                f"The scan covers {100 * seen:.0f} % of the closed surface: the rest was filled in and is not likeness."
            )
        return piece.but(head=head, skin=head)


def _with_fills(piece: Workpiece, head: Mesh) -> Workpiece:
    """The workpiece with the gaps that were filled in: the largest as figures, the large ones as notes too."""
    from ...geometry.surfacing.fills import fills

    found = fills(head)
    for fill in found:
        if fill.across >= _LARGE * piece.scale:
            x, y, z = fill.place
            stands = f" and stands {fill.bulge:.0f} mm out of its rim" if fill.bulge > 0.1 * fill.across else ""
            piece = piece.noted(
                f"A gap {fill.across:.0f} mm across at ({x:.0f}, {y:.0f}, {z:.0f}) was filled: what closes it is "
                f"{fill.farthest:.0f} mm from any point{stands}."
            )
    listed = [
        {
            "across_mm": fill.across,
            "area_mm2": fill.area,
            "place_mm": fill.place.tolist(),
            "farthest_mm": fill.farthest,
            "bulge_mm": fill.bulge,
        }
        for fill in found[:_LISTED]
    ]
    return piece.measured(fills_found=len(found), fills=listed)


_LARGE = 30.0  # millimetres across from which a gap is worth a note: wider than what is missing in hair
_LISTED = 12  # of the fills, the largest, that are told one by one
_SOLID = 0.8  # share of a body's own surface that is seen from somewhere outside


def _edge(mesh: Mesh) -> float:
    """The median edge, millimetres, at most what a lid needs: the spacing a broken mesh is sampled at."""
    lengths = np.linalg.norm(mesh.corners - np.roll(mesh.corners, 1, axis=1), axis=2)
    return float(np.clip(np.median(lengths), 0.1, 0.7))


def _outward(scan: Cloud) -> NDArray[np.float64] | None:
    """The scan's normals turned to the sensors that saw them, where both are known."""
    from ...geometry.clouds.orientation import towards_sensors

    if scan.normals is not None and scan.sensors is not None and "view" in scan.columns:
        return towards_sensors(scan.points, scan.normals, scan.sensors, scan.columns["view"].astype(np.int64))
    return scan.normals


def _kept_as_it_is(piece: Workpiece, mesh: Mesh) -> Workpiece:
    """A mesh that is closed already keeps its own vertices and triangles; only what lies loose is dropped."""
    from ...geometry.measures import area, genus, volume
    from ...geometry.surfacing.walls import outermost

    head, dropped = outermost(mesh)
    piece = piece.measured(
        triangles=len(head.triangles),
        area_mm2=area(head),
        volume_mm3=volume(head),
        genus=genus(head),
        pieces_dropped=dropped,
    )
    return piece.noted("The mesh was closed already: its own triangles were kept.").but(head=head, skin=head)
