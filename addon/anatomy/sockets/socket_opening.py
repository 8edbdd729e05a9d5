"""The opening between the lids: where it is cut, and the tool that clears it, where the pocket alone does not.

Lengths are in the unit of the mesh that is carved; `scale` says how large a life-size millimetre is in it.
"""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, maximum_filter1d

from ...geometry.mesh import Mesh
from ...geometry.solids.star_plug import between_shells
from ...geometry.views.inside_view import InsideView
from ..lids.lid_corners import eased
from ..lids.lid_margin import Opening
from .socket import Pocket

_NEIGHBOURS, _EVEN = 13, 2.5  # spokes whose widest need counts at each, and the spread by which it is evened out
_RINGS = 12  # of the opening's tool, from its middle to the margin
_WIDEST_RIM = 1.3  # mm at life size: how far the rim may retreat behind the margin to find thickness
_OVER_RIM, _OVER_MIDDLE = 1.5, 4.5  # mm at life size: how far the opening's tool reaches out of the skin
_SQUARE = 0.6  # radians round the globe up to which the opening's walls stand square on it
_LEAN = 1.5  # share of the way ahead mixed in at twice that
_THICK = (2.6, 4.0)  # mm at life size: from a lid, whose edge stands square, to a corner filled with more
_WITHIN = 0.99  # of the pocket's radius: where the opening's tool begins
_BRINK = 1.5  # mm at life size: how far within the rim the foot of the lids' edge may lie
_AT_ONCE = (90, 0.3)  # percentile of the rim, and how far beyond it, mm at life size, it is thick: corners end lower


def laid_open(head: Mesh, pocket: Pocket, opening: Opening, rim: float, scale: float) -> bool:
    """Whether the pocket itself opens the lids, as rebuild-lids leaves them: nothing of the head stands over it between
    their edges, and these are as thick as the rim wanted. A tool along such edges would only graze them.

    Made lids are so 0.16 mm (life size) past the rim, the corners aside; scanned ones after 0.64 and more.
    """
    steps = np.linspace(0.0, 1.0, _RINGS)
    angles = steps * np.maximum(opening.angles[:, None] - _BRINK * scale / pocket.radius, 0.0)
    if not (pocket.cover(head, opening, angles, scale) < 0).all():
        return False
    first = _thick_from(head, pocket, opening, rim, scale) * pocket.radius / scale
    share, most = _AT_ONCE
    return float(np.percentile(first, share)) <= most


def rim_of(head: Mesh, pocket: Pocket, opening: Opening, rim: float, scale: float) -> Opening:
    """The opening cut so far out that the lids end in a rim of some thickness instead of a razor's edge.

    Parameters
    ----------
    head : before carving
    pocket, opening : of one eye; the opening as found on the skin
    rim : thickness wanted at the rim
    scale : life-size millimetre in the mesh's unit

    Notes
    -----
    Where the lid never gets that thick within 1.3 mm (life size) of the margin, the rim stays at nine tenths of what
    there is: a thin lid is better than a gaping one.
    """
    first = _thick_from(head, pocket, opening, rim, scale)
    # The widest of the neighbours, then evened out: a rim that wavers would show teeth, and evened out alone it would
    # leave feathers where the corners need it widest.
    grown = gaussian_filter1d(maximum_filter1d(first, _NEIGHBOURS, mode="wrap"), _EVEN, mode="wrap")
    return replace(opening, angles=opening.angles + grown)


def _thick_from(head: Mesh, pocket: Pocket, opening: Opening, rim: float, scale: float) -> NDArray[np.float64]:
    """(SPOKES,) radians beyond the opening from where the lids are as thick as the rim wanted."""
    steps = np.arange(0.0, _WIDEST_RIM, 0.08) * scale / pocket.radius
    cover = np.minimum(pocket.cover(head, opening, opening.angles[:, None] + steps, scale), 10 * rim)
    enough = np.minimum(rim, 0.9 * cover.max(axis=1))
    return np.asarray(steps[np.argmax(cover >= enough[:, None], axis=1)])


def opening_tool(pocket: Pocket, view: InsideView, opening: Opening, scale: float) -> Mesh:
    """The closed solid that clears the opening, from the pocket to before the lids.

    Its walls stand square on the globe along both lids. In the inner corner, far round the globe and thick with
    caruncle, they lean forward: square ones would cut sideways into it and show as a step.
    """
    share = np.linspace(0.0, 1.0, _RINGS + 1)[1:]
    directions = opening.spoke_directions(opening.angles[:, None] * share)
    skin = view.distances(opening.spoke_directions(opening.angles[:, None] + 0.02)[:, 0])
    thick = np.where(np.isfinite(skin), skin - pocket.radius, np.inf) / scale
    leaning = gaussian_filter1d(eased((thick - _THICK[0]) / (_THICK[1] - _THICK[0])), 3.0, mode="wrap")
    skin = np.where(np.isfinite(skin), skin, pocket.radius + 2 * scale)
    skin = np.clip(skin, pocket.radius, pocket.radius + 6 * scale)
    skin = gaussian_filter1d(maximum_filter1d(skin, 5, mode="wrap"), 2.0, mode="wrap")
    top = float(skin.max()) + _OVER_MIDDLE * scale
    outer = top + (skin[:, None] + _OVER_RIM * scale - top) * share**3
    ahead = opening.frame[2]
    leaning = _LEAN * leaning[:, None] * eased((opening.angles[:, None] * share - _SQUARE) / _SQUARE)
    ways = directions + leaning[..., None] * ahead
    ways /= np.linalg.norm(ways, axis=2, keepdims=True)
    inner = _WITHIN * pocket.radius * directions
    before, floor = (
        pocket.centre + shell.transpose(1, 0, 2)
        for shell in (inner + ways * (outer - _WITHIN * pocket.radius)[..., None], inner)
    )
    tips = pocket.centre + np.stack([ahead * top, ahead * _WITHIN * pocket.radius])
    return between_shells((before, tips[0]), (floor, tips[1]))
