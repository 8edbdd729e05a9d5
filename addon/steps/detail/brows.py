"""The step that raises the brows as strokes."""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ..kinds import ON_SKIN, SCAN, kinds
from ..output.printers import PRINTERS, printer_named
from ..step import Step, setting
from ..workpiece import Workpiece

if TYPE_CHECKING:
    from ...anatomy.hair.brow_guides import BrowGuide
    from ...anatomy.hair.brow_strokes import BrowHair

_TOLD = {
    "drawn": "lies as it was drawn",
    "colour": "lies where the scan is darker than the skin round it",
    "relief": "lies where the scan stands off the skin round it",
    "landmarks": "shows neither in the scan's colour nor in its relief: it lies as on most faces, by the landmarks; "
    "lay its curves in Blender, or save them, move them and run it again",
}


@dataclass(frozen=True)
class Brows(Step):
    """Raise the brows as strokes wide enough to print, along curves found on the scan or drawn by hand.

    The strokes are part of the head's surface, whose triangles are made smaller under them and nowhere else.
    """

    NAME = "brows"
    STAGE = "detail"
    NEEDS = ("head", "landmarks")
    READS = ON_SKIN | SCAN
    CHANGES = kinds("head")

    curves: str = setting(
        "", kind="path", help="Edges drawn by hand, .json or .csv, in the head's millimetres as it stands"
    )
    source: str = setting(
        "any",
        choices=("any", "colour", "relief", "landmarks"),
        help="What a brow not drawn is found from; any: colour, else relief, else landmarks",
    )
    sides: str = setting("both", choices=("both", "left", "right"), help="Which of the sitter's brows")
    width: float = setting(
        0.0,
        low=0.0,
        high=5.0,
        unit="mm",
        at="life",
        help="Width of the narrowest clump; 0 as narrow as the printer shows",
    )
    height: float = setting(0.7, low=0.05, high=3.0, unit="mm", at="life", help="Height of a clump over the skin")
    length: float = setting(9.0, low=2.0, high=25.0, unit="mm", at="life", help="Length of the longest clumps")
    density: float = setting(
        55.0, low=1.0, high=200.0, unit="per cm2", help="Clumps a square centimeter where the brow is thickest"
    )
    taper: float = setting(40.0, low=0.0, high=100.0, unit="%", help="Width at the tip, though no less than prints")
    bed: float = setting(
        0.35, low=0.0, high=2.0, unit="mm", at="life", help="How far the brow as a whole stands off the skin"
    )
    scale: float = setting(1 / 6, kind="ratio", low=0.01, high=1, help="Print size over life size, until scale has run")
    printer: str = setting("medium", choices=tuple(PRINTERS), help="Printer whose pixel decides what shows")
    seed: int = setting(1, low=0, high=1_000_000, help="Another seed lays the strokes otherwise")
    save: str = setting("", help="File to write the curves to, .json or .csv, to move them and give them as curves")

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with brows on its head."""
        from ...anatomy.hair.brow_raising import around, raised_brows
        from ...anatomy.hair.brow_strokes import strokes

        progress(0.0, "finding the brows")
        guides = self.guides(piece)
        if self.save:
            self._write(guides, piece.scale)
        scale = piece.scale if piece.scale != 1.0 else self.scale
        pixel = printer_named(self.printer).pixel
        hair = self._hair(2 * pixel / scale)
        head = piece.needed_head()
        life = head.moved(np.diag([*[1.0 / piece.scale] * 3, 1.0]))
        made = []
        for number, (side, guide) in enumerate(sorted(guides.items())):
            progress(0.2 + 0.1 * number, f"laying the strokes of the {side} brow")
            patch = around(life, guide)
            made.append((guide, patch, strokes(guide, patch, hair, 2 * self.seed + number)))
        progress(0.4, "raising the strokes")
        narrowest = min(2 * float(each.half_width.min()) for _, _, ridges in made for each in ridges)
        head, kept_back, crossing = raised_brows(head, piece.scale, made, self.bed, narrowest / 4)
        done = piece.but(head=head).measured(
            strokes=sum(len(ridges) for _, _, ridges in made),
            **{f"{side}_from": guide.source for side, guide in guides.items()},
            clump_least_mm=scale * narrowest,
            height_mm=scale * max(float(each.height.max()) for _, _, ridges in made for each in ridges),
            kept_back=kept_back,
            crossing_faces=crossing,
        )
        for side, guide in sorted(guides.items()):
            done = done.noted(f"The {side} brow {_TOLD[guide.source]}")
        return self._told(done, hair, pixel, scale)

    def guides(self, piece: Workpiece) -> "dict[str, BrowGuide]":
        """Side to the brow's edges at life size, as drawn or as found.

        Raises
        ------
        NotReady, NotPossible
            What they are looked for by is missing, or shows no brow.
        BadFile
            The curves cannot be read.
        """
        from ...anatomy.hair.brow_files import read_brows
        from ...anatomy.hair.brow_guides import BrowGuide
        from ...anatomy.hair.brow_raising import looked_for

        drawn = read_brows(self.curves) if self.curves else {}
        life = piece.moved(np.diag([*[1.0 / piece.scale] * 3, 1.0]))
        marks = {name: np.asarray(mark.position) for name, mark in life.landmarks.items()}
        found: dict[str, BrowGuide] = {}
        for side in ("left", "right") if self.sides == "both" else (self.sides,):
            if side in drawn:
                upper, lower = (edge / piece.scale for edge in drawn[side])
                found[side] = BrowGuide(upper, lower, "drawn")
            else:
                found[side] = looked_for(life.needed_head(), _lightness(life), marks, side, self.source)
        return found

    def _write(self, guides: "Mapping[str, BrowGuide]", scale: float) -> None:
        """The edges that were followed as a file, in the head's millimetres as it stands."""
        from ...anatomy.hair.brow_files import brows_text
        from ...files.writing import whole_file

        edges = {side: (guide.upper * scale, guide.lower * scale) for side, guide in guides.items()}
        text = brows_text(edges, Path(self.save).suffix)
        with whole_file(Path(self.save), overwrite=True) as file:
            file.write(text.encode())

    def _hair(self, least: float) -> "BrowHair":
        from ...anatomy.hair.brow_strokes import BrowHair

        width = max(self.width, least)
        return BrowHair(width, self.height, self.length, self.density, self.taper / 100, least)

    def _told(self, done: Workpiece, hair: "BrowHair", pixel: float, scale: float) -> Workpiece:
        """What of it the printer shows."""
        done = done.noted(
            f"Two pixels of {pixel:g} mm stand for {hair.least:.2f} mm of skin at 1:{1 / scale:g}: the narrowest clump "
            f"of the brows is {hair.least * scale:.3f} mm on the print and shows, a single hair of 0.07 mm does not"
        )
        layer = printer_named(self.printer).layer
        if self.height * scale < layer:
            done = done.noted(
                f"The clumps stand {self.height * scale:.3f} mm off the skin on the print, less than a layer of "
                f"{layer:g} mm: raise height to {layer / scale:.2f} mm"
            )
        if 0 < self.width < hair.least:
            done = done.noted(
                f"The clumps were widened from the {self.width:g} mm set to {hair.least:.2f} mm: so they print"
            )
        return done


def _lightness(life: Workpiece) -> tuple[Mesh, NDArray[np.float64]] | None:
    """The head and how light it is at each vertex, 0 to 255, by its own colours or else the scan's."""
    from scipy.spatial import cKDTree

    from ...geometry.cloud import Cloud

    head, scan = life.needed_head(), life.scan
    colours = head.colours
    if colours is None and scan is not None and scan.colours is not None:
        points = scan.points if isinstance(scan, Cloud) else scan.vertices
        colours = scan.colours[cKDTree(points).query(head.vertices, workers=-1)[1]]
    # luminance of sRGB's primaries (IEC 61966-2-1), taken on the values as they are: only contrast counts
    return None if colours is None else (head, colours @ np.array([0.2126, 0.7152, 0.0722]))
