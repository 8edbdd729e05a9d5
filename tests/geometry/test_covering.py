"""What lies on a joint is hidden, what fits into it has to stay; and outlines too slight for a solid cost nothing."""

import numpy as np
import pytest
from canthus.geometry.errors import BadMesh
from canthus.geometry.lifting.covering import covered
from canthus.geometry.lifting.levels import slab, stacked
from canthus.geometry.measures import triangle_normals
from canthus.geometry.solids.booleans import difference, union
from canthus.geometry.solids.primitives import box
from canthus.geometry.solids.sections import plane
from manifold3d import CrossSection, Manifold


def test_a_rim_is_hidden_by_what_stands_on_it_but_its_spigot_is_not():
    # The rim, 1 mm wide, about a spigot of 6 x 6 x 2 mm; the groove is 0.1 mm wider, its mouth 0.4 mm.
    below = union(box((0, 0, -5), (8, 8, 0)), box((1, 1, -1), (7, 7, 2)))
    groove = union(box((0.9, 0.9, 0), (7.1, 7.1, 2.1)), box((0.6, 0.6, 0), (7.4, 7.4, 0.3)))
    above = difference(box((0, 0, 0.01), (8, 8, 6)), groove)
    over = box((-3, -3, 20), (-1, -1, 22))  # far off: it hides nothing
    middles, upwards = below.corners.mean(axis=1), triangle_normals(below)[:, 2] > 0.9
    rim = upwards & (np.abs(middles[:, 2]) < 1e-6)
    found = covered(below, over, np.ones(len(below.triangles), bool), [above])
    assert rim.any()
    assert found[rim].all()
    assert not found[~rim].any()
    assert not covered(below, over, rim).any()  # without the other one on it, it is seen


def test_an_outline_of_which_nothing_is_left_is_no_slab():
    """Told by fewer corners a splinter has no area: as a slab it would make nothing of all the others."""
    splinter = CrossSection([[(0.0, 0.0), (0.2, 0.0), (0.2, 0.001), (0.0, 0.001)]])
    square = CrossSection.square((2.0, 2.0))
    slabs = [*slab(square, 0.0, 0.5), *slab(splinter, 0.4, 0.5), *slab(square, 0.4, 0.6)]
    joined = stacked(slabs, plane(np.zeros(3), np.array([0.0, 0.0, 1.0])))
    assert joined.volume() == pytest.approx(4.0)  # 2 x 2 mm, one high
    with pytest.raises(BadMesh, match="cannot be followed"):
        stacked([*slabs, Manifold.extrude(CrossSection(), 1.0)], plane(np.zeros(3), np.array([0.0, 0.0, 1.0])))
