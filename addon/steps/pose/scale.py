"""The step that brings the head from life size to print size."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from ...anatomy.eyes.dimensions import GLOBE_WIDTH
from ...geometry.errors import BadSetting
from ...geometry.progress import SILENT, Progress
from ..kinds import NOTHING, kinds
from ..step import Step, setting
from ..workpiece import Workpiece


@dataclass(frozen=True)
class Scale(Step):
    """Bring the head to print size: by a ratio, or to a head height or an eye diameter."""

    NAME = "scale"
    STAGE = "pose"
    LIGHT = True
    NEEDS = ("scan or head",)
    READS = NOTHING
    CHANGES = kinds("scale")

    ratio: float = setting("1/6", kind="ratio", low=0.01, high=4.0, help="Print size over life size: 1/6, 1:12, 0.1667")
    head_height: float = setting(
        0.0, low=0.0, high=1000.0, unit="mm", at="print", help="Top of head to chin on the print, instead of the ratio"
    )
    eye_diameter: float = setting(
        0.0,
        low=0.0,
        high=100.0,
        unit="mm",
        at="print",
        help="Eye the print must take at true size, instead of the ratio",
    )
    shrinkage: float = setting(
        0.0, low=0.0, high=10.0, unit="%", help="What the resin shrinks by; exported parts are made so much larger"
    )

    @classmethod
    def read_with(cls, settings: Mapping[str, Any]) -> frozenset[str]:
        """The landmarks where it is a head's height that is asked for."""
        return kinds("landmarks") if settings.get("head_height") else cls.READS

    def apply(self, piece: Workpiece, progress: Progress = SILENT) -> Workpiece:
        """The whole workpiece at print size, with `scale` set."""
        progress(0.0, "scaling")
        ratio, why = self._wanted(piece)
        # Scaling a head that was scaled before goes from where it stands, so the ratio always means "of life size".
        matrix = np.diag([*[ratio / piece.scale] * 3, 1.0])
        scaled = piece.moved(matrix).but(scale=ratio, shrinkage=self.shrinkage / 100.0)
        scaled = scaled.measured(ratio=ratio, one_to=1.0 / ratio)
        if self.shrinkage:
            growth = 1.0 / (1.0 - self.shrinkage / 100.0)
            scaled = scaled.measured(shrinkage_percent=self.shrinkage, export_factor=growth)
            scaled = scaled.noted(
                f"Every part is exported {100 * (growth - 1):.2f} % larger, joints and eyes too, for a resin that "
                f"shrinks by {self.shrinkage:g} %: give all sizes as they are to be in the hand"
            )
        return scaled.noted(why) if why else scaled

    def _wanted(self, piece: Workpiece) -> tuple[float, str]:
        """Print size over life size, and what it rests on where that is not the ratio itself."""
        if self.head_height and self.eye_diameter:
            raise BadSetting("scale: give head_height or eye_diameter, not both")
        if self.head_height:
            top, chin = piece.needed_landmark("vertex"), piece.needed_landmark("gnathion")
            life = abs(float(top[2] - chin[2])) / piece.scale
            if life < 1.0:
                raise BadSetting("scale: vertex and gnathion lie at one height: run pose first, or give a ratio")
            return self.head_height / life, f"scaled so that {life:.1f} mm of head become {self.head_height:g} mm"
        if self.eye_diameter:
            life = piece.eyes[0].diameter / piece.scale if piece.eyes else GLOBE_WIDTH
            return self.eye_diameter / life, f"scaled so that an eye of {life:.1f} mm becomes {self.eye_diameter:g} mm"
        return self.ratio, ""
