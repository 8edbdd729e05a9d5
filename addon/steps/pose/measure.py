"""The step that measures the head and holds it against published norms."""

from dataclasses import dataclass

import numpy as np

from ...anatomy.face.measuring import Build, Measure, build_of, measured
from ...geometry.errors import NotReady
from ...geometry.progress import SILENT, Progress
from ...geometry.transforms import applied
from ..kinds import NOTHING, ON_SKIN
from ..step import Step, setting
from ..workpiece import Check, Workpiece


@dataclass(frozen=True)
class MeasureHead(Step):
    """Measure the head against published adult norms; flags a wrong unit or a distorted scan, corrects nothing."""

    NAME = "measure"
    STAGE = "pose"
    LIGHT = True
    NEEDS = ("landmarks",)
    READS = ON_SKIN
    CHANGES = NOTHING

    size_limit: float = setting(
        1.3, low=1.05, high=3.0, help="Times larger or smaller than a mean adult at which the unit is doubted"
    )
    uneven_limit: float = setting(
        1.2, low=1.02, high=3.0, help="Breadths, heights and depths this many times apart are doubted"
    )
    asymmetry: bool = setting(False, help="Write how far each place is from its mirror image into the head's column")

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The workpiece with its measures and what they say."""
        progress(0.0, "measuring")
        marks = {name: np.asarray(mark.position) / piece.scale for name, mark in piece.landmarks.items() if mark.sure}
        marks |= {f"pupil-{eye.side}": np.asarray(eye.centre) / piece.scale for eye in piece.eyes}
        head = None if piece.head is None else piece.head.moved(np.diag([*[1 / piece.scale] * 3, 1.0]))
        measures = measured(marks, head)
        if not measures:
            raise NotReady("measure: no sure landmarks and no head to measure: run landmarks, or place them by hand")
        done = piece.measured(measures=[_row(each) for each in measures])
        build = build_of(measures)
        if build is not None:
            done = self._judged(done, build)
        return _with_asymmetry(done, progress) if self.asymmetry else done

    def _judged(self, piece: Workpiece, build: Build) -> Workpiece:
        doubtful = max(build.size, 1.0 / build.size) > self.size_limit
        sized = (
            f"the head is {build.size:.2f} times the size of a mean adult's: a wrong unit, a head that is not life "
            "size, or a child"
        )
        advice = sized if doubtful else ""
        size = Check("head size", build.size, self.size_limit, "x", not advice, grave=False, advice=advice)
        skew = ", ".join(f"{way} {ratio:.2f}" for way, ratio in build.ways.items())
        odd = build.uneven > self.uneven_limit
        advice = f"{skew} times a mean adult's: the scan may be stretched; it is left as it is" if odd else ""
        even = Check("even proportions", build.uneven, self.uneven_limit, "x", not odd, grave=False, advice=advice)
        judged = piece.but(checks=(*piece.checks, size, even)).measured(
            size_to_mean_adult=build.size,
            uneven=build.uneven,
            **{f"{w}_to_mean_adult": r for w, r in build.ways.items()},
        )
        for check in (size, even):
            judged = judged.noted(f"Measures: {check.advice}") if check.advice else judged
        return judged


def _row(each: Measure) -> dict[str, float | str]:
    """A line of the table."""
    return {
        "name": f"{each.norm.name} {each.side}".strip(),
        "mm": round(each.millimetres, 2),
        "percentile_men": round(each.norm.men.percentile(each.millimetres), 1),
        "percentile_women": round(each.norm.women.percentile(each.millimetres), 1),
        "source": each.norm.source,
    }


def _with_asymmetry(piece: Workpiece, progress: Progress) -> Workpiece:
    """The head with a column `asymmetry_mm`: distance of each vertex from the mirrored head, outside positive."""
    from ...geometry.distances.distance import signed_distance
    from ...geometry.transforms import reflection

    head = piece.needed_head()
    progress(0.2, "laying the head over its mirror image")
    away = signed_distance(head, applied(reflection((1.0, 0.0, 0.0)), head.vertices))
    marked = type(head)(head.vertices, head.triangles, head.colours, {**head.columns, "asymmetry_mm": away})
    face = (head.vertices[:, 1] < -30 * piece.scale) & (np.abs(head.vertices[:, 0]) < 60 * piece.scale)
    spread = float(np.sqrt((away[face] ** 2).mean())) if face.any() else 0.0
    return piece.but(head=marked).measured(face_asymmetry_rms_mm=spread)
