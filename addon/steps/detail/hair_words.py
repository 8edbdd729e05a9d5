"""What is told of refitted hair: its figures, and what a sculptor must know."""

from typing import Any

from ...anatomy.hair.hair_fit import HairFit
from ...anatomy.hair.hair_start import LIKE
from ...geometry.refitting.gap_judging import LaidAt

_MANY = 0.15
"""Share of a strand's length changed from which it should be looked at: common practice, no source."""


def figures_of(fit: HairFit, laid: LaidAt, scale: float) -> dict[str, Any]:
    """The figures of a fit, lengths in millimetres as the workpiece stands.

    Parameters
    ----------
    fit : lengths at life size
    laid : the hair as it was finished: the fit's own, or the sheet made thick
    scale : print size over life size
    """
    strands = fit.strands
    return {
        "gap_least_mm": round(scale * laid.least, 4),
        "gap_median_mm": round(scale * laid.median, 4),
        "gap_greatest_mm": round(scale * laid.greatest, 4),
        "lowest_mm": round(scale * laid.deepest, 4),
        "under_side_percent": round(100 * float(laid.under.mean()), 1),
        "moved_median_mm": round(scale * float(sorted(fit.moved)[len(fit.moved) // 2]), 3),
        "moved_most_mm": round(scale * float(fit.moved.max()), 3),
        "strand_length_percent": round(100 * strands.middle, 2),
        "strand_length_most_percent": round(100 * strands.most, 2),
        "strand_shear_percent": round(100 * strands.shear, 2),
        "crossing_faces": laid.crossing,
        "let_off_percent": round(100 * fit.laid.freed / max(int(fit.laid.under.sum()), 1), 2),
        "hair_triangles": len(laid.mesh.triangles),
    }


def size_remarks(ratio: float) -> list[str]:
    """Whether the head is of another size than one adult's head is of another's."""
    if LIKE[0] < ratio < LIKE[1]:
        return []
    return [f"This head would be {ratio:.2f} times as large as the hair's own: check hair_units"]


def fit_remarks(fit: HairFit, laid: LaidAt, gap: float, tolerance: float, scale: float) -> list[str]:
    """What of a fit did not come out as was asked.

    Parameters
    ----------
    fit, laid, scale : as for `figures_of`
    gap, tolerance : as was asked, millimetres at life size
    """
    remarks = []
    off = max(abs(laid.least - gap), abs(laid.greatest - gap), gap - laid.deepest)
    if off > 1.001 * tolerance:
        remarks.append(f"The hair is off its gap by up to {scale * off:.3f} mm: smooth the scalp there, or the hair")
    if laid.crossing > laid.crossed:  # pieces that overlap on purpose cross a little more or less once moved
        remarks.append(f"{laid.crossing} faces of the hair cross where it was pressed together: look at them")
    if fit.laid.freed:
        remarks.append(
            f"{fit.laid.freed} vertices of the under side stand off the scalp, where it folds too sharply for them"
        )
    strands = fit.strands
    if strands.most > _MANY or strands.shear > 2 * _MANY:
        remarks.append(
            f"Strands are stretched or pressed by up to {100 * strands.most:.0f} % and sheared by up to "
            f"{100 * strands.shear:.0f} %: the scalps differ much, landmarks are off, or it needs its old head"
        )
    return remarks
