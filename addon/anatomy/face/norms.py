"""Published adult dimensions of head and face, to see by whether a scan is plausible; never to correct a face."""

import math
from dataclasses import dataclass

ANSUR = "ANSUR II public files, 4,082 men and 1,986 women, computed"
"""US Army survey 2010-12; the data were read, its printed tables (Gordon et al. 2014) not."""


@dataclass(frozen=True)
class Spread:
    """Mean and standard deviation, mm."""

    mean: float
    deviation: float

    def percentile(self, value: float) -> float:
        """Share of people below `value`, 0 to 100, taking the spread as normal."""
        return 50.0 * (1.0 + math.erf((value - self.mean) / (self.deviation * math.sqrt(2.0))))

    def away(self, value: float) -> float:
        """Standard deviations from the mean, with sign."""
        return (value - self.mean) / self.deviation


@dataclass(frozen=True)
class Norm:
    """One dimension: its spread among men and women, the direction it runs in, and where the figures come from.

    `way` is "breadth", "height" or "depth": a scan that is stretched one way departs from the norms in that way only.
    """

    name: str
    men: Spread
    women: Spread
    way: str
    source: str

    @property
    def mean(self) -> float:
        """Mean of the two means, mm."""
        return (self.men.mean + self.women.mean) / 2

    def away(self, value: float) -> float:
        """Standard deviations from the nearer of the two means, with sign."""
        return min(self.men.away(value), self.women.away(value), key=abs)


def _norm(name: str, way: str, men: tuple[float, float], women: tuple[float, float], source: str) -> Norm:
    return Norm(name, Spread(*men), Spread(*women), way, source)


_HONG_KONG = "51 men, 52 women, 18-35, Hong Kong, 3D photographs: BioMed Res Int 2013, 821428, table 2"
_FISSURE = "76 young adults: Read et al. 2006, doi 10.1097/01.opx.0000236811.78177.97 (one spread for both)"

NORMS = {
    norm.name: norm
    for norm in (
        _norm("head length", "depth", (199.5, 7.0), (189.8, 7.5), ANSUR),
        _norm("head breadth", "breadth", (154.3, 5.5), (147.8, 5.2), ANSUR),
        _norm("sellion to gnathion", "height", (122.6, 6.7), (113.1, 6.1), ANSUR),
        _norm("tragion to vertex", "height", (131.2, 6.2), (126.5, 6.6), ANSUR),
        _norm("vertex to outer canthus", "height", (113.8, 9.0), (108.9, 8.2), ANSUR),
        _norm("between pupils", "breadth", (64.0, 3.4), (61.7, 3.6), ANSUR),
        _norm("between inner canthi", "breadth", (40.6, 4.9), (38.3, 2.6), _HONG_KONG),
        _norm("between outer canthi", "breadth", (93.0, 5.6), (88.4, 3.7), _HONG_KONG),
        _norm("fissure length", "breadth", (27.1, 1.5), (27.1, 1.5), _FISSURE),
        _norm("fissure height", "height", (9.7, 1.2), (9.7, 1.2), _FISSURE),
        _norm(
            "mouth breadth", "breadth", (55.9, 3.3), (52.0, 4.0), "jkamprs 2019, doi 10.1186/s40902-019-0191-7, table 9"
        ),
    )
}
"""Name to norm."""
