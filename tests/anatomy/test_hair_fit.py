"""Hair made for a ball refitted to another ball and to an ellipsoid, where gaps and lengths are known."""

import numpy as np
import pytest
from canthus.anatomy.hair.hair_fit import fit_hair
from canthus.anatomy.hair.hair_start import size_ratio, start_by_form, start_by_landmarks, to_life
from canthus.geometry.distances.sided import Sided
from canthus.geometry.errors import BadSetting, NotPossible
from canthus.geometry.measures import is_watertight
from canthus.geometry.mesh import Mesh
from canthus.geometry.quad_meshes.splitting import split
from canthus.geometry.refitting.strand_shapes import distortion
from canthus.geometry.solids.booleans import union
from canthus.geometry.solids.primitives import capsule, icosphere, sphere
from canthus.geometry.transforms import applied, rotation, transform
from hair_caps import cap, sheet

OLD = Sided(icosphere(5, 80.0))
CAP = cap(80.0, 87.0, 10.0, 4)
RADII = np.array([76.0, 88.0, 84.0])
ELLIPSOID = Sided(icosphere(5).moved(transform(np.diag(RADII))))


def over_ellipsoid(points):
    """Height over the ellipsoid to first order, good where it is small: F / |grad F| (Taubin 1991)."""
    level = (points**2 / RADII**2).sum(axis=1) - 1
    return level / np.linalg.norm(2 * points / RADII**2, axis=1)


@pytest.mark.parametrize("hold", [0.0, 0.8])
def test_a_cap_of_one_ball_on_a_larger_one(hold):
    """Under side 0.4 mm over radius 84 everywhere, thickness about as before: the outer side at 84 + 0.4 + 7."""
    fit = fit_hair(CAP, Sided(icosphere(5, 84.0)), OLD, None, 0.4, 0.05, 1.5, hold)
    radius = np.linalg.norm(fit.laid.mesh.vertices, axis=1)
    np.testing.assert_allclose(radius[fit.laid.under], 84.4, atol=0.07)
    assert radius.min() > 84.3
    outer = np.linalg.norm(CAP.vertices, axis=1) > 86.9
    assert np.abs(radius[: len(CAP.vertices)][outer] - 91.4).max() < 0.8
    assert is_watertight(fit.laid.mesh)
    assert fit.laid.crossing == 0


def test_the_gap_on_an_ellipsoid_and_an_overlap():
    for gap in (0.3, -0.5):
        fit = fit_hair(CAP, ELLIPSOID, OLD, None, gap, 0.06, 1.5, 0.8)
        on = over_ellipsoid(fit.laid.mesh.vertices[fit.laid.under])
        assert np.abs(on - gap).max() < 0.08
        assert over_ellipsoid(fit.laid.mesh.vertices).min() > gap - 0.08
        assert fit.laid.crossing == 0


def test_a_lock_that_stands_off_keeps_its_shape():
    """70 mm long, on a scalp that becomes 10 % longer one way: the map stretches it, the hold does not."""
    lock, _ = split(union(CAP, capsule((0, 60, 50), (0, 130, 50), 4.0, sag=0.1)), 5.0)
    free = lock.vertices[:, 1] > 100
    new = Sided(icosphere(5).moved(transform(np.diag([78.0, 92.0, 78.0]))))
    found = []
    for hold in (0.0, 0.8):
        after = fit_hair(lock, new, OLD, None, 0.3, 0.1, 1.5, hold).laid.mesh.vertices[: len(lock.vertices)]
        found.append(distortion(lock.vertices, after, lock.triangles, free))
    assert found[0].most > 0.05
    assert found[1].most < 0.02


def test_without_the_old_head_the_inner_side_is_the_scalp():
    fit = fit_hair(CAP, Sided(icosphere(5, 82.0)), None, None, 0.4, 0.05, 1.5, 0.8)
    radius = np.linalg.norm(fit.laid.mesh.vertices, axis=1)
    np.testing.assert_allclose(radius[fit.laid.under], 82.4, atol=0.07)
    inner = np.linalg.norm(CAP.vertices, axis=1) < 80.1
    assert fit.laid.under[: len(CAP.vertices)][inner].mean() > 0.95


def test_a_sheet_stays_a_sheet_and_keeps_its_colours():
    hair = sheet(80.2, 10.0, 4)
    colours = np.random.default_rng(2).integers(0, 255, (len(hair.vertices), 3)).astype(np.uint8)
    hair = Mesh(hair.vertices, hair.triangles, colours)
    fit = fit_hair(hair, ELLIPSOID, OLD, None, 0.3, 0.06, 1.5, 0.8)
    assert np.abs(over_ellipsoid(fit.laid.mesh.vertices) - 0.3).max() < 0.08
    assert len(fit.laid.mesh.triangles) >= len(hair.triangles)
    assert (fit.laid.mesh.colours[: len(colours)] == colours).all()


def test_hair_that_is_not_on_its_head_is_refused():
    with pytest.raises(NotPossible, match="lie on the head it was made for"):
        fit_hair(CAP, ELLIPSOID, Sided(sphere(40.0, sag=0.5)), None, 0.3, 0.1, 1.5, 0.8)


def test_the_start_by_landmarks_is_the_similarity_between_them():
    places = {name: np.array(place, float) for name, place in {
        "glabella": (0, -97, 35), "pronasale": (0, -120, -10), "tragion-left": (75, 0, 0), "tragion-right": (-75, 0, 0),
        "vertex": (0, 10, 131)}.items()}  # fmt: skip
    away = transform(0.002 * rotation((1, 2, 3), 1.0), (5.0, 6.0, 7.0))
    old = {name: applied(away, place) for name, place in places.items()}
    old["vertex"] = old["vertex"] + 1.0  # hair counts to it: it is not listened to
    start = start_by_landmarks(old, places)
    np.testing.assert_allclose(applied(start.matrix, old["glabella"]), places["glabella"], atol=1e-9)
    assert start.factor == pytest.approx(500.0)
    assert start_by_landmarks({"glabella": old["glabella"]}, places) is None


def test_the_start_by_form_brings_its_inner_side_onto_the_head():
    away = transform(rotation((0, 0, 1), 0.3) * 0.95, (150.0, -20.0, 30.0))
    egg = icosphere(5).moved(transform(np.diag(RADII)))
    hair = cap(1.0, 1.08, 0.1, 5).moved(transform(np.diag(RADII))).moved(away)
    start = start_by_form(hair, egg)
    inner = cap(1.0, 1.08, 0.1, 5).vertices
    rows = np.linalg.norm(inner, axis=1) < 1.001
    assert np.abs(over_ellipsoid(applied(start.matrix, hair.vertices[rows]))).max() < 1.5
    assert start.factor == pytest.approx(1 / 0.95, rel=0.02)


@pytest.mark.parametrize(
    ("factor", "unit", "words"),
    [(1.05, "auto", "mm at life size"), (6.2, "auto", "mm at print size"), (990.0, "auto", "m at life size"),
     (10.4, "cm", "cm at life size")],
)  # fmt: skip
def test_unit_and_size_of_the_file_are_told(factor, unit, words):
    ratio, said = size_ratio(factor, unit, 1 / 6)
    assert said == words
    assert 0.9 < ratio < 1.1


def test_a_unit_that_makes_no_head_is_refused():
    with pytest.raises(BadSetting, match="hair in m would be"):
        size_ratio(1.0, "m", 1 / 6)
    assert to_life(icosphere(2, 0.13), "auto", 1 / 6) == pytest.approx(1000.0)
