"""Ends by which parts join: pegs and the bores they go into, cups for balls, bores for magnets.

All are made in one frame: the joint's face is the plane z = 0, the part it belongs to lies above it. `EDGE` is how far
cutting tools reach below the face, so that they cut it cleanly.
"""

from dataclasses import dataclass

import numpy as np

from ..errors import NotPossible
from ..mesh import Mesh
from ..transforms import rotation
from .booleans import difference, union
from .primitives import box, revolved

EDGE = 1.0
SAG = 0.001
"""Facets of round joints lie within this of the true surface, mm: a tenth of the 0.01 mm fits are judged by."""


ROOT = 0.6
"""How far past a cup's middle its slots reach, over its radius."""


@dataclass(frozen=True)
class Peg:
    """A peg below the face. Lengths in mm: `diameter` at the face, `chamfer` at its tip, `flat` cut off its back side
    (a D section, against turning). `taper` is the slope of its side in radians.
    """

    diameter: float
    length: float
    taper: float = 0.0
    chamfer: float = 0.0
    flat: float = 0.0

    @property
    def tip(self) -> float:
        """Diameter at the tip, before its chamfer."""
        return self.diameter - 2 * self.length * float(np.tan(self.taper))

    def solid(self, root: float) -> Mesh:
        """The peg, going on upward by `root` into the part it is joined to.

        Raises
        ------
        NotPossible
            Taper, chamfer or flat leave nothing of it.
        """
        radius, tip = self.diameter / 2, self.tip / 2
        if (
            tip - self.chamfer <= 0.1 * radius
            or self.chamfer >= self.length
            or self.flat >= 0.8 * radius + tip - radius
        ):
            raise NotPossible(
                f"a peg of {self.diameter:g} mm by {self.length:g} mm is used up by its taper, chamfer or flat: "
                "take less of them"
            )
        rise = self.chamfer / self.length if self.length else 0.0
        profile = [(tip - self.chamfer, -self.length)] if self.chamfer else []
        profile += [(tip + (radius - tip) * rise, self.chamfer - self.length), (radius, 0.0), (radius, root)]
        peg = revolved(profile, sag=SAG)
        if not self.flat:
            return peg
        reach = self.diameter
        return difference(peg, box((-reach, radius - self.flat, -self.length - EDGE), (reach, reach, 0.0)))

    def bore(self, clearance: float, deeper: float = 0.0) -> Mesh:
        """What to cut out of the other part so that the peg goes in: wider by `clearance` on the diameter, its flat by
        half of that, and `deeper` at the end.
        """
        grown = Peg(self.diameter + clearance, self.length + deeper, self.taper, 0.0, self.flat)
        return grown.solid(EDGE)


def magnet_bore(diameter: float, depth: float, lead: float) -> Mesh:
    """What to cut out for a disc magnet: a flat bore up from the face, its mouth widened by `lead` all round."""
    radius = diameter / 2
    profile = [(radius + lead, -EDGE), (radius + lead, 0.0), (radius, lead), (radius, depth)] if lead else [
        (radius, -EDGE), (radius, depth)
    ]  # fmt: skip
    return revolved(profile, sag=SAG)


@dataclass(frozen=True)
class BallCup:
    """A cup that a ball snaps into, its springy wall standing free in a moat. Lengths in mm.

    `ball` is the ball's diameter, `clearance` what the cup is wider; `opening` the mouth's diameter, less than the
    ball's; `wall` the thickness of the cup's wall where it is thinnest; `slots` its number of relief slots, 0 for a
    whole ring without a moat, and `slot_width` their width; `lead` the widening of the mouth.
    """

    ball: float
    clearance: float
    opening: float
    wall: float
    slots: int
    slot_width: float
    lead: float

    @property
    def radius(self) -> float:
        """Radius of the cup's inside."""
        return (self.ball + self.clearance) / 2

    @property
    def height(self) -> float:
        """Height of the cup's centre over the face."""
        return self.lead + float(np.sqrt(self.radius**2 - (self.opening / 2) ** 2))

    @property
    def deflection(self) -> float:
        """How far each point of the lip must give way for the ball to pass."""
        return max((self.ball - self.opening) / 2, 0.0)

    @property
    def top(self) -> float:
        """Height over the face up to which slots and moat reach: past the middle of the ball, so that it is held."""
        return self.height + ROOT * self.radius

    @property
    def finger(self) -> float:
        """Free length of the wall between two slots, from the lip up to its root, along its middle."""
        return self.height - self.lead + (self.radius + self.wall / 2) * float(np.arcsin(ROOT))

    @property
    def strain(self) -> float:
        """Largest strain in the wall as the ball passes, a share (0.02 is 2 %).

        Notes
        -----
        Each finger as a cantilever of even thickness t and length L pushed aside by y at its end: 3 t y / (2 L²)
        (Euler-Bernoulli). A whole ring is stretched instead: y over its radius.
        """
        if not self.slots:
            return self.deflection / (self.opening / 2)
        return 1.5 * self.wall * self.deflection / self.finger**2

    @property
    def outer_radius(self) -> float:
        """Radius of all that is cut: the moat's outer wall, or the cup itself where there is no moat."""
        return self.radius + (self.wall + self.moat if self.slots else 0.0)

    @property
    def moat(self) -> float:
        """Width of the moat: the lip gives way into it, and a printer can keep it open."""
        return max(1.5 * self.deflection, 0.4) if self.slots else 0.0

    @property
    def depth(self) -> float:
        """Height over the face of the highest point cut out."""
        return self.height + self.radius

    def tool(self) -> Mesh:
        """What to cut out of the part."""
        if not 0 < self.opening < self.ball:
            raise NotPossible(f"a cup's opening must be under its ball's {self.ball:g} mm, not {self.opening:g}")
        cut = [self._hollow()]
        if self.slots:
            room, wall = self._shell(self.outer_radius, EDGE), self._shell(self.radius + self.wall, 2 * EDGE)
            cut.append(difference(room, wall))
            cut += [self._slot(2 * np.pi * turn / self.slots) for turn in range(self.slots)]
        return union(*cut)

    def _shell(self, radius: float, below: float) -> Mesh:
        """A round bar up to the cup's centre that ends in a dome; the moat's outside is cut flat at its top."""
        end = np.pi / 2 if below > EDGE else float(np.arcsin((self.top - self.height) / radius))
        angles = np.linspace(0.0, end, 48)
        dome = np.column_stack([radius * np.cos(angles), self.height + radius * np.sin(angles)])
        if below > EDGE:
            dome[-1, 0] = 0.0
        return revolved(np.vstack([[(radius, -below)], dome]), sag=SAG)

    def _slot(self, angle: float) -> Mesh:
        half, reach = self.slot_width / 2, self.radius + self.wall + 0.5 * self.moat
        matrix = np.eye(4)
        matrix[:3, :3] = rotation((0.0, 0.0, 1.0), angle)
        return box((0.0, -half, -EDGE), (reach, half, self.top)).moved(matrix)

    def _hollow(self) -> Mesh:
        """The ball's room and the mouth below it."""
        mouth = self.opening / 2
        start = -float(np.arccos((self.height - self.lead) / self.radius))
        steps = max(24, int(np.ceil((np.pi + start) / (2 * np.arccos(1 - min(SAG / self.radius, 0.5))))))
        angles = np.linspace(-start, np.pi, steps + 1)  # from the mouth's rim up to the top, off the downward axis
        arc = np.column_stack([self.radius * np.sin(angles), self.height - self.radius * np.cos(angles)])
        arc[0], arc[-1, 0] = (mouth, self.lead), 0.0
        below = [(mouth + self.lead, -EDGE), (mouth + self.lead, 0.0)] if self.lead else [(mouth, -EDGE)]
        return revolved(np.vstack([below, arc]), sag=SAG)
