"""The report's section on likeness: how far the closed head lies from the scan, over all, by region, and as a map."""

from html import escape

from .page_sections import Figures, figure, table
from .studio import Picture
from .wording import value_text


def likeness(figures: Figures, heat: Picture | None = None) -> str:
    """How far the closed head lies from the scan, at life size: over all, by region, and as a map."""
    found = figures["likeness"]
    if not found:
        return ""
    words = (
        "Distance of the cleaned scan from the closed head before anything was cut into it, in life-size millimetres. "
        "likeness.ply holds it a point."
    )
    rows = [("all", *_deviations(found))]
    rows += [(escape(name), *_deviations(each)) for name, each in found.get("regions", {}).items()]
    heads = ("region", "#points", "#mean", "#RMS", "#95 of 100 within", "#farthest outside", "#farthest inside")
    map_ = "" if heat is None else figure(heat, heat.title, ' class="map"')
    return f"<p>{words}</p>{map_}{table(heads, rows)}"


def _deviations(found: Figures) -> tuple[str, ...]:
    keys = ("mean_mm", "rms_mm", "p95_mm", "max_outside_mm", "max_inside_mm")
    return (f"{found['points']:,}", *(value_text(found[key]) for key in keys))
