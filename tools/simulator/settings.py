"""What a simulated capture is made of."""

from dataclasses import dataclass, fields

LABELS = ("skin", "stray", "cluster", "veil", "second skin", "lash")
"""Meaning of the column `label`, by number."""
SKIN, STRAY, CLUSTER, VEIL, SECOND_SKIN, LASH = range(6)


@dataclass(frozen=True)
class Settings:
    """One simulated capture. Lengths in millimetres at life size, shares are of all points.

    The shares of strays, clusters and veils, the noise and the offset of a second skin are those the cleaning
    steps are measured at; nothing published gives them for one scanner (common practice, no source).
    """

    points: int = 200_000
    seed: int = 0
    views: int = 14
    distance: float = 450.0
    """From the scanner to the middle of the head."""
    grazing: float = 78.0
    """Degrees between ray and normal beyond which a structured-light scanner sees nothing."""
    noise: float = 0.06
    """Standard deviation along the ray where the surface faces the scanner; it grows as the surface turns away."""
    strays: float = 0.01
    clusters: float = 0.006
    veils: float = 0.006
    lashes: float = 0.003
    """Needs the truth of the eyes; without it there are none."""
    second_skin: float = 0.0
    """How far one view, a third of the face, lies off the others; 0 for none."""
    dropout: float = 0.6
    """Share of the points lost where the hair is darkest."""
    open_below: float = 2.0
    """A bust's level cut is no skin: faces that look down, this near the lowest point, are not seen. 0 sees all."""
    posed: bool = True
    """Face to -Y and up +Z, as the mesh is given; False turns and shifts the capture anyhow."""
    unit: str = "mm"

    def __post_init__(self) -> None:
        shares = self.strays + self.clusters + self.veils + self.lashes
        if self.points < 1000 or self.views < 1 or shares > 0.5:
            names = ", ".join(field.name for field in fields(self)[:3])
            raise ValueError(f"a capture needs 1000 points, a view, and at most half of it faulty: see {names}")
        if self.unit not in UNITS:
            raise ValueError(f"unit {self.unit} is none of {', '.join(UNITS)}")


UNITS = {"mm": 1.0, "cm": 0.1, "m": 0.001, "in": 1 / 25.4}
"""Length of a millimetre in each unit."""
