"""The step that lays the relief of skin on the head."""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from ...geometry.errors import BadSetting
from ...geometry.mesh import Mesh
from ...geometry.progress import SILENT, Progress
from ..kinds import ON_SKIN, kinds
from ..output.printers import PRINTERS, printer_named
from ..step import Step, setting
from ..workpiece import Workpiece

if TYPE_CHECKING:
    from ...anatomy.skin.skin_relief import Form

_SMOOTH = ("eyes", "lids", "ears", "scalp")
"""Regions left as they are unless a strength is set for them."""

_WAYS = {
    "forehead": ((0, 0, 1), 1.0),
    "neck": ((0, 0, 1), 0.8),
    "orbit": ((0, 0.3, 1), 0.6),
    "face": ((1, 0, 1), 0.5),
    "chin": ((1, 0, 1), 0.5),
}
"""Direction from line to line in each region and how deep they are of what is set: level on forehead and neck, aslant
on the cheeks (common practice, no source)."""
_STRETCH = {"forehead": 22.0, "neck": 25.0, "orbit": 6.0, "face": 4.0, "chin": 4.0}
"""About how long a line runs before it fades, millimetres: common practice, no source."""

_LIPS_WANDER, _LIPS_STRETCH, _SHALLOWEST, _LIPS_EDGE = 0.7, 3.0, 0.25, 2.5
"""Furrows of the lips: how far they wander, in spacings; millimetres over which one grows shallow, to what share of its
depth; and over which all end before the border of the red: common practice, no source."""


@dataclass(frozen=True)
class Relief(Step):
    """Lay the relief of skin on the head: pores, fine lines, lips' grain, stubble, or a height image of your own.

    Depths and widths are millimetres at life size. A column `relief` painted on the head (0 to 1) scales it.
    """

    NAME = "relief"
    STAGE = "detail"
    NEEDS = ("head", "landmarks")
    READS = ON_SKIN
    CHANGES = kinds("head")

    pores: float = setting(0.05, low=0, high=0.5, unit="mm", at="life", help="Depth of pores, 0 for none")
    pore_width: float = setting(0.25, low=0.1, high=2.0, unit="mm", at="life", help="Width of a pore at half its depth")
    pore_density: float = setting(
        30.0, low=0, high=300, unit="per cm2", help="Pores a square centimeter of the forehead's skin"
    )
    lines: float = setting(0.06, low=0, high=0.5, unit="mm", at="life", help="Depth of fine lines, 0 for none")
    lips: float = setting(
        0.10, low=0, high=0.5, unit="mm", at="life", help="Depth of the lips' upright furrows, 0 for none"
    )
    stubble: float = setting(0.0, low=0, high=0.5, unit="mm", at="life", help="Height of stubble, 0 for none")
    image: str = setting("", kind="path", help="Height image to lay over all of it instead: grey PNG, 8 or 16 bits")
    tile: float = setting(20.0, low=1, high=300, unit="mm", at="life", help="Width of the height image on the skin")
    depth: float = setting(0.2, low=0.01, high=3, unit="mm", at="life", help="Depth from white to black of that image")
    strength: str = setting("", help="Strength by region, 1 as set: nose=1.5, lips=0.5, ears=0.3")
    true: bool = setting(True, help="True to scale; otherwise enlarged until two pixels of the printer show it")
    gain: float = setting(1.0, low=0.1, high=10.0, help="Factor on every depth")
    scale: float = setting(1 / 6, kind="ratio", low=0.01, high=1, help="Print size over life size, until scale has run")
    printer: str = setting("medium", choices=tuple(PRINTERS), help="Printer whose pixel decides what shows")
    edge: float = setting(0.6, low=0.1, high=3.0, unit="mm", at="life", help="Longest edge of a triangle under relief")
    seed: int = setting(1, low=0, high=1_000_000, help="Another seed puts pores and lines in other places")

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with relief on its head."""
        from ...anatomy.skin.region_names import SKIN
        from ...anatomy.skin.skin_regions import skin_regions
        from ...anatomy.skin.skin_relief import what_prints
        from ...geometry.clouds.normals import vertex_normals
        from ...geometry.quad_meshes.splitting import MOST, split
        from ...geometry.raising.displacing import displaced

        scale = piece.scale if piece.scale != 1.0 else self.scale
        pixel = printer_named(self.printer).pixel
        head = piece.needed_head().moved(np.diag([*[1.0 / piece.scale] * 3, 1.0]))
        marks = {name: np.asarray(mark.position) / piece.scale for name, mark in piece.landmarks.items()}
        progress(0.0, "finding the regions")
        strength = self._strengths(SKIN)[skin_regions(head, marks)]
        progress(0.1, "splitting long edges")
        head, fine = split(head, np.where(strength > 0, self.edge, np.inf))
        region = skin_regions(head, marks)
        strength = _soft_edged(head, self._strengths(SKIN)[region]) * np.asarray(
            head.columns.get("relief", np.ones(len(head.vertices)))
        )
        forms = self._forms(2 * pixel / scale)
        progress(0.3, "laying the relief")
        height, figures = self._heights(head, [SKIN[row] for row in range(len(SKIN))], region, forms)
        head, kept_back, crossing = displaced(head, (self.gain * strength * height)[:, None] * vertex_normals(head))
        done = piece.but(head=head.moved(np.diag([*[piece.scale] * 3, 1.0]))).measured(
            **figures, kept_back=kept_back, crossing_faces=crossing
        )
        done = done.measured(deepest_mm=float(-min((self.gain * strength * height).min(), 0.0)), edge_mm=self.edge)
        for sentence in what_prints(forms, pixel, scale):
            done = done.noted(sentence)
        narrow = [name for name, form in forms.items() if form.width < 2 * self.edge]
        if narrow:
            done = done.noted(
                f"Triangles with edges of {self.edge:g} mm are too coarse for {', '.join(narrow)}, which comes out "
                "shallower than set: give an edge of a third of the width"
            )
        if not fine:
            done = done.noted(
                f"Edges of {self.edge:g} mm on so much skin take more than {MOST / 1e6:.0f} million triangles: some "
                "stayed longer; set strength to 0 where no relief is wanted"
            )
        return done

    def _strengths(self, names: tuple[str, ...]) -> NDArray[np.float64]:
        """(r,) strength of each region."""
        found = np.array([0.0 if name in _SMOOTH else 1.0 for name in names])
        for words in filter(None, map(str.strip, self.strength.split(","))):
            name, _, value = words.partition("=")
            try:
                found[names.index(name.strip())] = float(value)
            except ValueError:
                raise BadSetting(f"relief: strength takes region=number of {', '.join(names)}, not {words!r}") from None
        return found

    def _forms(self, least: float) -> "dict[str, Form]":
        """What is to be laid, by name; enlarged to `least` millimetres of width where not true to scale."""
        from ...anatomy.skin.skin_relief import GRAIN, LINE, PORE, STUBBLE, Form
        from ...files.png import read_heights

        if self.image:
            return {"pairs of the image's pixels": Form(-self.depth, 2 * self.tile / read_heights(self.image).shape[1])}
        forms = {
            "pores": replace(PORE, depth=-self.pores, width=self.pore_width, density=self.pore_density),
            "lines": replace(LINE, depth=-self.lines),
            "furrows of the lips": replace(GRAIN, depth=-self.lips),
            "stubble": replace(STUBBLE, depth=self.stubble),
        }
        forms = {name: form for name, form in forms.items() if form.depth}
        if not self.true:
            forms = {name: form.enlarged(max(1.0, least / form.width)) for name, form in forms.items()}
        return forms

    def _heights(
        self, head: Mesh, names: list[str], region: NDArray[np.int64], forms: "dict[str, Form]"
    ) -> tuple[NDArray[np.float64], dict[str, float]]:
        """(n,) relief before strengths, and how much of each there is."""
        from ...anatomy.skin.skin_relief import PORES_BY_REGION, come_and_go, from_image, inwards, lines, scattered
        from ...files.png import read_heights
        from ...geometry.clouds.normals import vertex_normals

        normals = vertex_normals(head)
        if self.image:
            return from_image(head.vertices, normals, read_heights(self.image), self.tile, self.depth), {}
        figures: dict[str, float] = {}
        height = np.zeros(len(head.vertices))
        is_in = {name: region == number for number, name in enumerate(names)}
        if "pores" in forms:
            share = np.array([PORES_BY_REGION.get(name, 0.0) for name in names])[region]
            places, relief = scattered(head, forms["pores"], share, self.seed)
            height, figures["pores"] = height + relief, len(places)
        if "stubble" in forms:
            share = (is_in["beard"] | is_in["chin"]).astype(float)
            places, relief = scattered(head, forms["stubble"], share, self.seed + 1)
            height, figures["stubble"] = height + relief, len(places)
        for number, (name, (way, share_of_depth)) in enumerate(_WAYS.items()):
            if "lines" in forms:
                seed = self.seed + 10 + number
                own = lines(head.vertices, normals, forms["lines"], np.array(way, float), seed)
                own *= share_of_depth * come_and_go(head.vertices, seed, _STRETCH[name])
                height = np.where(is_in[name], np.minimum(height, own), height)
        if "furrows of the lips" in forms:
            seed, across = self.seed + 20, np.array([1.0, 0, 0])
            own = lines(head.vertices, normals, forms["furrows of the lips"], across, seed, wander=_LIPS_WANDER)
            own *= _SHALLOWEST + (1 - _SHALLOWEST) * come_and_go(head.vertices, seed, _LIPS_STRETCH)
            height = np.where(is_in["lips"], own * inwards(head.vertices, is_in["lips"], _LIPS_EDGE), height)
        return height, figures


def _soft_edged(head: Mesh, strength: NDArray[np.float64]) -> NDArray[np.float64]:
    """Strengths that fall off towards a weaker region instead of ending at its edge."""
    from ...geometry.mending.smoothing import averaging

    mean, soft = averaging(head).astype(np.float64), strength
    for _ in range(4):
        soft = np.minimum(strength, mean @ soft)
    return soft
