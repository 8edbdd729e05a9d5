"""Made eyes against the two-sphere model, globe R 12, cornea R 8, centres 5 apart (El Hage and Le Grand 1980,
reference_values.md, section 1), within 0.01 mm times the scale: vertices and the middles of faces."""

from itertools import product

import numpy as np
import pytest
from canthus.anatomy.eyes.eye import EyeShape
from canthus.anatomy.sockets.eye_making import made_dome, made_eye
from canthus.geometry.measures import is_watertight
from canthus.geometry.solids.booleans import intersection

FORMS = list(product((False, True), (False, True), (False, True)))  # half-round, stem, sunk iris


def off_and_ahead(mesh):
    """How far vertices and faces' middles lie off the axis, and ahead, in life-size millimetres of a globe of 24."""
    places = np.concatenate([mesh.vertices, mesh.corners.mean(axis=1)])
    return np.hypot(places[:, 0], places[:, 1]), places[:, 2]


@pytest.mark.parametrize("diameter", [2.0, 4.0, 6.0, 24.0])
def test_sclera_cornea_and_limbus_of_every_form(diameter):
    life = 24.0 / diameter
    for half, stem, sunk in FORMS:
        eye = made_eye(EyeShape(diameter), half=half, stem=stem, sunk_iris=sunk, marks=2)
        assert is_watertight(eye)
        off, ahead = (life * each for each in off_and_ahead(eye))
        sclera = (ahead > -3.5) & (ahead < 10.4) & (off > 5.7)  # before the flat back, beyond iris and marks
        assert sclera.sum() > 500
        assert np.abs(np.hypot(off, ahead)[sclera] - 12.0).max() < 0.01
        rim = np.abs(ahead - 10.5) < 0.001
        assert 2 * off[rim].max() == pytest.approx(11.619, abs=0.01)
        if sunk:
            assert ahead.max() == pytest.approx(10.5, abs=0.01)  # nothing stands before the limbus
            continue
        assert ahead.max() == pytest.approx(13.0, abs=0.01)  # cornea 2.5 high, 1.0 before the globe's sphere
        cornea = (ahead > 10.6) & (np.abs(off - 4 / 24.2 * 12) > 0.05 * 24)  # clear of the pupil's groove
        assert np.abs(np.hypot(off, ahead - 5.0)[cornea] - 8.0).max() < 0.01


@pytest.mark.parametrize("diameter", [4.0, 24.0])
def test_the_sunk_iris_lies_as_deep_as_the_anterior_chamber_and_the_dome_is_the_cornea(diameter):
    """Chamber depth 3.03 on a globe of 24 (South China, 1,015 eyes); pupil 4.0 of 24.2, an indoor opening (memory)."""
    life = 24.0 / diameter
    eye = made_eye(EyeShape(diameter), half=True, stem=False, sunk_iris=True, marks=1)
    off, ahead = (life * each for each in off_and_ahead(eye))
    floor = (off > 2.1) & (off < 5.0) & (ahead > 5.0)
    np.testing.assert_allclose(ahead[floor], 13.0 - 3.03, atol=0.01)
    deep = (off < 1.9) & (ahead > 5.0)
    assert ahead[deep].max() < 13.0 - 3.03 - 0.04 * 12
    dome = made_dome(EyeShape(diameter))
    assert is_watertight(dome)
    assert not len(intersection(eye, dome).triangles)
    off, ahead = (life * each for each in off_and_ahead(dome))
    front = ahead > 11.0  # off the wall of its foot
    assert np.abs(np.hypot(off, ahead - 5.0)[front] - 8.0).max() < 0.01
    assert ahead.max() == pytest.approx(13.0, abs=0.01)
    foot = life * np.hypot(*dome.vertices.T[:2]).max()
    assert 11.619 / 2 - 0.8 < foot < 11.619 / 2


def test_the_pupil_is_scribed_on_a_solid_cornea():
    off, ahead = (
        6 * each for each in off_and_ahead(made_eye(EyeShape(4.0), half=False, stem=True, sunk_iris=False, marks=1))
    )
    sunk_in = 8.0 - np.hypot(off, ahead - 5.0)
    groove = (ahead > 10.6) & (sunk_in > 0.03)
    assert off[groove].min() > 0.5
    assert np.median(off[groove]) == pytest.approx(4.0 / 24.2 * 12, abs=0.1)
