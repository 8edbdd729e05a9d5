"""Which measure of eyes and lids came from where: scan, settings or published sizes, each named."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from ..anatomy.eyes.dimensions import GLOBE_WIDTH
from ..anatomy.eyes.eye import CREASE_HEIGHT, PUPIL, EyeShape
from ..anatomy.eyes.gaze import PUPIL_BEHIND_APEX
from ..steps.workpiece import Done, Eye, Workpiece

GLOBE_SOURCE = "published: 250 adults, CT (Bekerman 2014)"
MODEL_SOURCE = "two-sphere model (El Hage and Le Grand 1980), at the eye's size"
CREASE_SOURCE = "published: 380 people (Malik 2022); none showed on the scan"
SEEN_SOURCE = "entrance pupil of Le Grand's schematic eye, from memory; refraction at a cornea of 7.8"
_SET, _SCAN, _HABIT = "set", "the scan", "usual setting, no source"


@dataclass(frozen=True)
class Value:
    """One measure: what of which eye ("" for both), millimetres unless `unit` says otherwise, and its source."""

    what: str
    eye: str
    value: float
    unit: str
    source: str


def eye_values(piece: Workpiece) -> list[dict[str, Any]]:
    """The measures of a piece's eyes as plain records, in the order of the work; none where it has no eyes."""
    if not piece.eyes:
        return []
    steps = {done.name: done for done in piece.history}
    found = [*_globes(piece, steps.get("place-eyes")), *_model(piece)]
    for eye in piece.eyes:
        found += _placed(eye)
        found += _lids(eye, steps.get("rebuild-lids"), piece.scale)
        found += _socket(eye, steps.get("carve-sockets"))
    return [vars(each) for each in found]


def _globes(piece: Workpiece, placing: Done | None) -> Iterator[Value]:
    if placing is None:
        return
    globe = float(placing.settings["globe"])
    usual = abs(globe - GLOBE_WIDTH) < 1e-9
    yield Value("sitter's globe", "", globe, "mm life", GLOBE_SOURCE if usual else _SET)
    if any("photographs" in eye.sources for eye in piece.eyes):
        yield Value(
            "pupil behind the cornea's front, as seen", "", PUPIL_BEHIND_APEX * globe / 24, "mm life", SEEN_SOURCE
        )
    chosen = _SET if placing.settings.get("diameter") else "nearest of the sizes eyes are sold in, or of your own table"
    yield Value("eye that goes in, diameter", "", piece.eyes[0].diameter, "mm", chosen)


def _model(piece: Workpiece) -> Iterator[Value]:
    shape = EyeShape(piece.eyes[0].diameter)
    for what, value in (
        ("cornea, radius", shape.cornea),
        ("limbus, diameter", 2 * shape.limbus),
        ("corneal bulge", shape.apex - shape.sclera),
    ):
        yield Value(what, "", value, "mm", MODEL_SOURCE)
    yield Value("pupil, diameter", "", 2 * shape.pupil, "mm", f"{PUPIL:g} mm at life size, indoor; from memory")


def _placed(eye: Eye) -> Iterator[Value]:
    yield Value("globe's centre, uncertain by", eye.side, eye.uncertainty, "mm", ", ".join(eye.sources) or "by hand")


def _lids(eye: Eye, building: Done | None, scale: float) -> Iterator[Value]:
    """What rebuild-lids told of one eye; nothing where its lids stayed, or an earlier version told less."""
    if building is None or any(f"{eye.side}_{name}" not in building.figures for name in _TOLD_OF_LIDS):
        return
    settings, figures = building.settings, building.figures

    def told(name: str) -> float:
        return float(figures[f"{eye.side}_{name}"])

    drawn = "drawn by hand" if settings.get("margins") else "the lid margins on the scan, or published where it is shut"
    for what, name, asked, unit in (
        ("fissure, length", "fissure_length_mm_life", settings["fissure_length"], "mm life"),
        ("fissure, height", "fissure_height_mm_life", settings["fissure_height"], "mm life"),
        ("canthal tilt", "canthal_tilt_deg", settings["canthal_tilt"], "°"),
    ):
        yield Value(what, eye.side, told(name), unit, _SET if asked else drawn)
    thickness = _SET if settings["thickness"] else "the scan over the tarsal plates, 1.2 to 3.2 mm life"
    for lid in ("upper", "lower"):
        true, made = told(f"true_{lid}_lid_mm"), told(f"{lid}_lid_mm")
        yield Value(f"{lid} lid, true thickness", eye.side, true, "mm", thickness)
        thicker = made > true + 0.005
        source = "thickened to what prints (least_lid)" if thicker else "as true as the clearance lets it be"
        yield Value(f"{lid} lid, as made", eye.side, made, "mm", source)
    yield Value("eye set back for the lids", eye.side, told("set_back_mm"), "mm", "what lids need to print")
    crease = told("crease_height_mm_life")
    usual = CREASE_SOURCE if abs(crease - CREASE_HEIGHT) < 1e-9 else _SCAN
    yield Value("crease, height", eye.side, crease, "mm life", _SET if settings["crease_height"] else usual)
    yield Value("crease, depth", eye.side, float(settings["crease_depth"]), "mm life", _HABIT)
    yield Value("join to the skin, width", eye.side, float(settings["blend"]) * scale, "mm", _HABIT)


_TOLD_OF_LIDS = ("true_upper_lid_mm", "upper_lid_mm", "set_back_mm", "crease_height_mm_life", "canthal_tilt_deg")


def _socket(eye: Eye, carving: Done | None) -> Iterator[Value]:
    if carving is None:
        return
    figures: Mapping[str, Any] = carving.figures
    yield Value("gap all round the eye", eye.side, eye.clearance, "mm", _HABIT)
    for what, name in (("lid, thinnest", "least_lid"), ("wall, thinnest", "least_wall")):
        if f"{eye.side}_{name}_mm" in figures:
            yield Value(what, eye.side, float(figures[f"{eye.side}_{name}_mm"]), "mm", "measured on the carved head")
    if eye.seat_gap is not None:
        yield Value("gap to the seat", eye.side, eye.seat_gap, "mm", f"half of the {carving.settings['seat']} fit")
