"""The step that carves the sockets."""

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from ...geometry.errors import NotReady
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ..step import Step, setting
from ..workpiece import Eye, Workpiece


@dataclass(frozen=True)
class CarveSockets(Step):
    """Carve a pocket of the eye's size behind each pair of lids, and clear the opening between them."""

    NAME: ClassVar[str] = "carve-sockets"
    STAGE: ClassVar[str] = "eyes"

    clearance: float = setting(
        0.1, low=0.0, high=2.0, unit="mm", at="print", help="Gap all round between eye and pocket"
    )
    entry: str = setting("behind", choices=("behind", "front"), help="Where the eyes are put in from")
    rim: float = setting(
        0.15,
        low=0.0,
        high=2.0,
        unit="mm",
        at="print",
        help="Thickness the lids keep where they are cut, if they have it",
    )
    least_lid: float = setting(0.3, low=0.0, high=5.0, unit="mm", at="print", help="A thinner lid is pointed out")
    least_wall: float = setting(0.6, low=0.0, high=10.0, unit="mm", at="print", help="A thinner wall is pointed out")

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with two sockets in its head; the eyes know their clearance and bore."""
        from ...anatomy.eye import EyeShape
        from ...anatomy.eye_path import eye_bore, least_bore
        from ...anatomy.globe_fit import AHEAD
        from ...anatomy.globe_placing import REACH
        from ...anatomy.lid_margin import opening_through
        from ...anatomy.socket import Pocket, least_wall, lid_cover, opening_tool, pocket_tools, rim_of
        from ...geometry.booleans import difference
        from ...geometry.inside_view import view_from_inside

        head, scale = piece.needed_head(), piece.scale
        if not piece.needed_eyes():
            return piece
        tools: list[Mesh] = []
        eyes: list[Eye] = []
        carved = piece
        for number, eye in enumerate(piece.needed_eyes()):
            progress(0.2 * number, f"shaping the {eye.side} socket")
            if eye.opening is None:
                raise NotReady(f"carve-sockets: the {eye.side} eye has no opening: run place-eyes first")
            centre, gaze = np.array(eye.centre), np.array(eye.gaze)
            pocket = Pocket(centre, gaze, EyeShape(eye.diameter), self.clearance)
            view = view_from_inside(head, centre, AHEAD, REACH * scale + pocket.radius, widest=5.0)
            rim = rim_of(pocket, view, opening_through(eye.opening, centre), self.rim, scale)
            length = least_bore(eye.diameter, self.clearance) if self.entry == "behind" else 0.0
            bore = eye_bore(centre, gaze, pocket.radius, length) if length else None
            tools += [*pocket_tools(pocket, bore), opening_tool(pocket, view, rim, scale)]
            at_rim, thinnest = lid_cover(pocket, view, rim, scale)
            wall, place = least_wall(head, pocket, bore, rim, scale)
            eyes.append(
                replace(
                    eye, clearance=self.clearance, bore_length=length, opening=rim.curve(view, pocket.radius + scale)
                )
            )
            carved = carved.measured(
                **{
                    f"{eye.side}_pocket_radius_mm": pocket.radius,
                    f"{eye.side}_rim_median_mm": float(np.nanmedian(at_rim)),
                    f"{eye.side}_least_lid_mm": thinnest,
                    f"{eye.side}_least_wall_mm": wall,
                }
            )
            for note in self._notes(eye.side, thinnest, wall, place):
                carved = carved.noted(note)
        progress(0.4, "cutting the sockets")
        cut = difference(head, *tools)
        progress(0.9, "clearing scraps")
        whole, scraps, scrap_volume = _largest(cut)
        carved = carved.but(head=whole, eyes=tuple(eyes)).measured(
            clearance_mm=self.clearance, scraps_removed=scraps, scraps_mm3=scrap_volume
        )
        return self._between(carved)

    def _between(self, piece: Workpiece) -> Workpiece:
        """The wall between the sockets, measured and judged."""
        if len(piece.eyes) < 2:
            return piece
        first, second = piece.eyes[:2]
        apart = float(np.linalg.norm(np.array(first.centre) - np.array(second.centre)))
        wall = apart - first.pocket_radius - second.pocket_radius
        piece = piece.measured(between_sockets_mm=wall)
        if wall < self.least_wall:
            piece = piece.noted(
                f"the wall between the sockets is {wall:.2f} mm, under {self.least_wall:g} mm: choose smaller eyes"
            )
        return piece

    def _notes(self, side: str, lid: float, wall: float, place: NDArray[np.float64]) -> list[str]:
        notes = []
        if lid <= 0:
            notes.append(f"the {side} pocket breaks through a lid: choose smaller eyes, or set them back in place-eyes")
        elif lid < self.least_lid:
            notes.append(
                f"the {side} lids are {lid:.2f} mm at their thinnest, under {self.least_lid:g} mm: handle them gently; "
                "least_lid in rebuild-lids thickens them, set_back in place-eyes leaves them more"
            )
        if wall < self.least_wall:
            x, y, z = place
            notes.append(
                f"the wall beside the {side} socket is {wall:.2f} mm, under {self.least_wall:g} mm, "
                f"at ({x:.1f}, {y:.1f}, {z:.1f})"
            )
        return notes


def _largest(mesh: Mesh) -> tuple[Mesh, int, float]:
    """The largest piece, how many others there were, and their volume."""
    from ...geometry.measures import components, volume

    pieces = components(mesh)
    count = int(pieces.max(initial=0))
    if not count:
        return mesh, 0, 0.0
    return mesh.kept(pieces == 0), count, volume(mesh.kept(pieces > 0))
