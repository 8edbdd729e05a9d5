"""The step that carves the sockets."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ...geometry.errors import NotPossible, NotReady
from ...geometry.mesh import Mesh
from ...geometry.progress import Progress
from ..kinds import ON_SKIN, kinds
from ..output.fits import FITS
from ..step import setting
from ..workpiece import Eye, Workpiece
from .each_eye import EyeStep, pocket_of, without_eye

if TYPE_CHECKING:
    from ...anatomy.sockets.socket import Pocket


_SHALLOW = 0.3  # mm at life size
_LOST = 3.0  # mm at life size: scanned lids are not cut about an eye that is known no better
_ROOM = "check its landmarks (place-eyes), build its lids anew (rebuild-lids), take a smaller eye or set it back"


@dataclass(frozen=True)
class CarveSockets(EyeStep):
    """Carve a pocket of the eye's size behind each pair of lids, and clear the opening between them."""

    NAME = "carve-sockets"
    STAGE = "eyes"
    NEEDS = ("head", "eyes")
    READS = ON_SKIN - kinds("landmarks") | kinds("eyes")
    CHANGES = kinds("eyes", "head")

    clearance: float = setting(
        0.1, low=0.0, high=2.0, unit="mm", at="print", help="Gap all round between eye and pocket"
    )
    form: str = setting(
        "round", choices=("round", "half-round"), help="Full-round eyes, or half-round with a flat back"
    )
    entry: str = setting("behind", choices=("behind", "front"), help="Where the eyes are put in from")
    seat: str = setting(
        "none",
        choices=tuple(FITS),
        help="Fit of the ring an eye from behind rests on at its depth, or of the ledge of one from the front",
    )
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

    def on_eyes(self, piece: Workpiece, progress: Progress) -> Workpiece:
        """The workpiece with sockets in its head; the eyes know their clearance, form, seat and bore.

        An eye whose socket would be a ragged hole gets none, and the head stays closed there.
        """
        from ...geometry.solids.booleans import difference

        head, tools, eyes, carved = piece.needed_head(), list[Mesh](), list[Eye](), piece
        for number, eye in enumerate(piece.eyes):
            progress(0.2 * number, f"shaping the {eye.side} socket")
            try:
                carved, placed, cutters = self._shaped(carved, eye)
            except NotPossible as reason:
                carved = without_eye(carved, eye.side, str(reason), _ROOM)
                continue
            eyes.append(placed)
            tools += cutters
        if not eyes:
            return carved.but(eyes=())
        progress(0.4, "cutting the sockets")
        cut = difference(head, *tools)
        progress(0.9, "clearing scraps")
        whole, scraps, scrap_volume = _largest(cut)
        carved = carved.but(head=whole, eyes=tuple(eyes)).measured(
            clearance_mm=self.clearance, scraps_removed=scraps, scraps_mm3=scrap_volume
        )
        return self._between(carved)

    def _shaped(self, piece: Workpiece, eye: Eye) -> tuple[Workpiece, Eye, list[Mesh]]:
        """The workpiece with what one socket measures, the eye as it will sit, and the solids that cut the socket.

        Raises
        ------
        NotPossible
            The socket would leave a ragged hole: it breaks out beside the opening, or nobody knows where the eye is.
        """
        from ...anatomy.eyes.globe_fit import AHEAD
        from ...anatomy.lids.globe_placing import REACH
        from ...anatomy.lids.lid_margin import opening_through
        from ...anatomy.sockets.socket import least_wall, lid_cover, pocket_tools
        from ...anatomy.sockets.socket_opening import laid_open, opening_tool, rim_of
        from ...geometry.views.inside_view import view_from_inside

        head, scale, opening = piece.needed_head(), piece.scale, eye.opening
        if opening is None:
            raise NotReady(f"carve-sockets: the {eye.side} eye has no opening: run place-eyes first")
        gap = None if self.seat == "none" else FITS[self.seat] / 2
        eye = replace(eye, clearance=self.clearance, form=self.form, seat_gap=gap, bore_length=0.0)
        pocket = pocket_of(eye)
        if self.entry == "behind":
            pocket = pocket.from_behind(pocket.shortest)
        view = view_from_inside(head, pocket.centre, AHEAD, REACH * scale + pocket.radius, widest=5.0)
        rim, tools = opening_through(opening, pocket.centre), pocket_tools(pocket)
        if not laid_open(head, pocket, rim, self.rim, scale):
            if eye.uncertainty > _LOST * scale:
                off = eye.uncertainty / scale
                raise NotPossible(f"its lids are not rebuilt and its place is known to {off:.1f} mm (life size) only")
            rim = rim_of(head, pocket, rim, self.rim, scale)
            tools.append(opening_tool(pocket, view, rim, scale))
        at_rim, thinnest, thin_place = lid_cover(head, pocket, rim, scale)
        wall, wall_place = least_wall(head, pocket, rim, scale)
        # Where rebuilt lids end far round the globe, what is between them counts as lid, a clearance deep.
        if (least := min(thinnest, wall)) < -(self.clearance + _SHALLOW * scale):
            raise NotPossible(f"its pocket would break out {-least:.2f} mm deep")
        piece = self._told(piece, eye.side, pocket, float(np.median(at_rim[np.isfinite(at_rim)])), thinnest, wall)
        for note in self._notes(eye.side, thinnest, thin_place, wall, wall_place):
            piece = piece.noted(note)
        eye = replace(eye, bore_length=pocket.length, opening=rim.curve(view, pocket.radius + scale))
        if self.entry == "front" and (note := _does_not_pass(eye)):
            piece = piece.noted(note)
        return piece, eye, tools

    def _told(
        self, piece: Workpiece, side: str, pocket: "Pocket", rim: float, thinnest: float, wall: float
    ) -> Workpiece:
        """The socket's figures."""
        figures = {"pocket_radius": pocket.radius, "rim_median": rim, "least_lid": thinnest, "least_wall": wall}
        if pocket.seat:
            figures |= {"seat_gap": pocket.seat.gap, "seat_depth": pocket.seat.depth}
        return piece.measured(**{f"{side}_{name}_mm": value for name, value in figures.items()})

    def _between(self, piece: Workpiece) -> Workpiece:
        """The wall between the sockets, measured and judged."""
        from ...anatomy.sockets.socket import between

        if len(piece.eyes) < 2:
            return piece
        wall = between(pocket_of(piece.eyes[0]), pocket_of(piece.eyes[1]))
        piece = piece.measured(between_sockets_mm=wall)
        if wall < self.least_wall:
            piece = piece.noted(
                f"the wall between the sockets is {wall:.2f} mm, under {self.least_wall:g} mm: choose smaller eyes"
            )
        return piece

    def _notes(
        self, side: str, lid: float, lid_place: NDArray[np.float64], wall: float, wall_place: NDArray[np.float64]
    ) -> list[str]:
        notes = []
        if lid <= 0:
            notes.append(
                f"the {side} pocket comes out beside its opening: look at the corners of the lids, and set "
                "fissure_length in rebuild-lids if they lie too far apart"
            )
        elif lid < self.least_lid:
            notes.append(
                f"the {side} lids are {lid:.2f} mm at their thinnest, under {self.least_lid:g} mm, at "
                f"{_told_place(lid_place)}: handle them gently; "
                "least_lid in rebuild-lids thickens them, set_back in place-eyes leaves them more"
            )
        if wall < self.least_wall:
            notes.append(
                f"the wall beside the {side} socket is {wall:.2f} mm, under {self.least_wall:g} mm, at "
                f"{_told_place(wall_place)}: set_back or a smaller diameter in place-eyes leaves it more"
            )
        return notes


def _does_not_pass(eye: Eye) -> str:
    """What to know of an eye set from the front that is wider than its lids open; nothing of one that passes."""
    if eye.opening is None:
        return ""
    across = eye.opening - np.outer(eye.opening @ eye.gaze, eye.gaze)
    seen = across @ np.linalg.svd(across - across.mean(axis=0), full_matrices=False)[2][:2].T
    turns = np.radians(np.arange(0.0, 180.0, 3.0))
    opens = float(np.ptp(seen @ np.array([np.cos(turns), np.sin(turns)]), axis=0).min())
    if opens >= eye.diameter:
        return ""
    return (
        f"the {eye.side} eye, {eye.diameter:.2f} mm, is wider than its lids open, {opens:.2f} mm: from the front it "
        "goes into a soft cast only; set it from behind in a hard one"
    )


def _told_place(place: NDArray[np.float64]) -> str:
    x, y, z = place
    return f"({x:.1f}, {y:.1f}, {z:.1f})"


def _largest(mesh: Mesh) -> tuple[Mesh, int, float]:
    """The largest piece, how many others there were, and their volume."""
    from ...geometry.measures import components, volume

    pieces = components(mesh)
    count = int(pieces.max(initial=0))
    if not count:
        return mesh, 0, 0.0
    return mesh.kept(pieces == 0), count, volume(mesh.kept(pieces > 0))
