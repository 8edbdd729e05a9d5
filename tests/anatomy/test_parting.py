"""The parting keeps off the face and over the ears."""

import numpy as np
import pytest
from canthus.anatomy.parting import clear_of_face, parting_plane
from canthus.geometry.solids.primitives import sphere
from captures import mri_head

# Heights over the tragia from reference_values section 2 (men): crown 131, eyes 131 - 114 = 17, chin 131 - 232 = -101;
# ears 62 mm long about the tragia. Glabella and subnasale by the thirds of the face: 131 - 35 - 66 = 35 and -33.
MARKS = {
    "vertex": np.array([0.0, 10.0, 131.0]),
    "glabella": np.array([0.0, -97.0, 35.0]),
    "subnasale": np.array([0.0, -100.0, -31.0]),
    "exocanthion-left": np.array([45.0, -70.0, 17.0]),
    "tragion-left": np.array([75.0, 0.0, 0.0]),
    "tragion-right": np.array([-75.0, 0.0, 0.0]),
}
HEAD = sphere(1.0, sag=0.002).moved(np.array([[77, 0, 0, 0], [0, 100, 0, 0], [0, 0, 116, 15.0], [0, 0, 0, 1]], float))


def test_it_passes_behind_the_hairline_and_over_the_ears():
    cut = parting_plane(HEAD, MARKS)
    hairline = np.array([0.0, -70.0, 35.0 + 66.0])  # one third of the face over glabella
    ear_top = np.array([70.0, 20.0, 31.0])
    assert cut.heights(hairline[None])[0] < 0
    assert cut.heights(ear_top[None])[0] < -5
    assert clear_of_face(cut.heights, MARKS)
    assert 10 < np.degrees(np.arccos(cut.up[2])) < 45
    assert cut.up[1] > 0  # it falls towards the back, where the hand goes in


def test_too_low_is_noticed():
    assert not clear_of_face(parting_plane(HEAD, MARKS, raise_by=-60.0).heights, MARKS)


@pytest.mark.parametrize("scale", [1.0, 1 / 6])
def test_a_bare_real_head(scale):
    """D3, a bald head; its lids lie near z = -38 and its ear tops near z = -20 (looked at)."""
    head = mri_head().moved(np.diag([-scale, -scale, scale, 1.0]))
    cut = parting_plane(head, {})
    for place in ([30, -75, -25], [-30, -75, -25], [88, 20, -20], [-88, 20, -20]):
        assert cut.heights(scale * np.array([place], float))[0] < 0
