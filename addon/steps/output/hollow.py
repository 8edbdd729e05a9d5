"""Taking out the inside of the head, and the ways the eyes go in."""

from dataclasses import dataclass, replace

from ...geometry.errors import NotPossible
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ..kinds import kinds
from ..step import Step, setting
from ..workpiece import Check, Eye, Workpiece


@dataclass(frozen=True)
class Hollow(Step):
    """Hollow the head to an even wall, with a way in from behind for eyes that need one."""

    NAME = "hollow"
    STAGE = "output"
    READS = kinds("eyes", "frame", "head", "scale", "skin")
    CHANGES = kinds("eyes", "head")

    wall: float = setting(2.0, low=0.4, high=20, unit="mm", at="print", help="Thickness left everywhere")
    narrowest: float = setting(
        1.0, low=0.0, high=5, unit="mm", at="print", help="Narrowest passage left in the hollow, so that resin drains"
    )
    cell: float = setting(
        0.0, low=0.0, high=2, unit="mm", at="print", help="Fineness of the inner face; 0 takes a sixth of the wall"
    )

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """Cut the hollow into `head`; every distance is judged against the head as it stands, pockets included."""
        from ...geometry.distances.closest import ClosestPoint
        from ...geometry.measures import volume
        from ...geometry.printing.cavities import closed_cavities, hollowed, inner_surface

        head = piece.needed_head()
        if closed_cavities(head):
            raise NotPossible("the head is hollow already: hollow it once, or start from the solid head")
        cell = self.cell or self.wall / 6
        closest = ClosestPoint(head)
        inner = inner_surface(head, self.wall, self.narrowest, cell, progress.stretch(0.0, 0.85), closest)
        if not len(inner.triangles):
            raise NotPossible(f"a wall of {self.wall:g} mm leaves no hollow: take a thinner wall, or print it solid")
        solid = volume(head)
        progress(0.85, "measuring the wall")
        walls = closest.query(inner.corners.mean(axis=1))[0]
        hollow = hollowed(head, inner)
        progress(0.9, "cutting the ways in for the eyes")
        hollow, eyes, shut = _with_ways_in(piece, hollow, inner)
        for finding in shut:
            piece = piece.noted(finding.advice)
        return piece.but(head=hollow, eyes=eyes, checks=(*piece.checks, *shut)).measured(
            wall_mm=self.wall,
            least_wall_mm=float(walls.min()),
            mean_wall_mm=float(walls.mean()),
            resin_ml=volume(hollow) / 1000,
            resin_saved_ml=(solid - volume(hollow)) / 1000,
        )


def _with_ways_in(piece: Workpiece, hollow: Mesh, inner: Mesh) -> tuple[Mesh, tuple[Eye, ...], tuple[Check, ...]]:
    """The hollow head with a bore from each pocket, the eyes with its length, and what keeps an eye from going in.

    An eye with no hollow behind it is a finding, not the end of the job; on a face without a back (one range map) its
    bore comes out behind without one.
    """
    from ...anatomy.sockets.eye_entry import entry_length
    from ...anatomy.sockets.socket import bore_tools
    from ...geometry.solids.booleans import difference
    from ..eyes.each_eye import pocket_of

    skin = piece.skin if piece.skin is not None else piece.needed_head()
    tools, eyes, shut = [], [], []
    for eye in piece.eyes:
        if eye.bore_length > 0:
            pocket = pocket_of(eye)
            try:
                length = entry_length(pocket, inner, skin, eye.side)
            except NotPossible as fault:
                eyes.append(eye)
                shut.append(
                    Check(f"way in for the {eye.side} eye", 0.0, 1.0, "ways", False, eye.centre, advice=str(fault))
                )
                continue
            # A hollow nearer than a seat's ring reaches leaves the bore the length that the ring needs.
            length = max(length, pocket.shortest) if pocket.seat else length
            tools += bore_tools(pocket.from_behind(length))
            eyes.append(replace(eye, bore_length=length))
        else:
            eyes.append(eye)
    return (difference(hollow, *tools) if tools else hollow), tuple(eyes), tuple(shut)
