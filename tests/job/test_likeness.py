import numpy as np
import pytest
from canthus.geometry.cloud import Cloud
from canthus.geometry.solids.primitives import icosphere
from canthus.job.heat_picture import heat_picture
from canthus.job.likeness import MOST_POINTS, likeness
from canthus.steps.workpiece import Landmark, Workpiece
from demo_heads import demo_head


def test_the_scan_is_judged_at_life_size():
    """A scan a millimetre outside a ball of 60, both at half size: one millimetre, not half."""
    skin = icosphere(5, 60.0)
    scan = Cloud(icosphere(4, 61.0).vertices)
    half = np.diag([0.5, 0.5, 0.5, 1.0])
    figures = likeness(Workpiece(scan=scan, skin=skin).moved(half).but(scale=0.5)).figures
    assert figures["mean_mm"] == pytest.approx(1.0, abs=0.02)  # the ball's facets lie up to 0.02 inside it
    assert figures["max_inside_mm"] == 0


def test_more_points_than_settle_it_are_thinned():
    points = np.random.default_rng(1).normal(size=(2 * MOST_POINTS + 5, 3))
    figures = likeness(Workpiece(scan=Cloud(points), skin=icosphere(1, 1.0))).figures
    assert 0.5 * MOST_POINTS < figures["points"] <= MOST_POINTS


def test_without_a_scan_or_a_skin_there_is_nothing_to_say():
    assert likeness(Workpiece(skin=icosphere(1, 1.0))) is None
    assert likeness(Workpiece(scan=Cloud(np.zeros((3, 3))))) is None


def test_it_comes_by_region_where_landmarks_tell_them():
    """A demo head's nose scanned 2 mm before it: the nose alone is off, in the histogram too."""
    head = demo_head(0, 2.5)
    tip = np.asarray(head.truth.landmarks["pronasale"])
    points = head.mesh.vertices.copy()
    points[:, 1] -= 2.0 * np.exp(-((np.linalg.norm(points - tip, axis=1) / 12.0) ** 2))
    marks = {name: Landmark(tuple(place.tolist())) for name, place in head.truth.landmarks.items()}
    near = likeness(Workpiece(scan=Cloud(points), skin=head.mesh, landmarks=marks))
    regions = near.figures["regions"]
    assert regions["nose"]["max_outside_mm"] == pytest.approx(2.0, abs=0.3)
    assert regions["scalp"]["rms_mm"] < 1e-6
    assert sum(each["points"] for each in regions.values()) == near.figures["points"] == len(points)
    assert sum(near.figures["histogram"]["counts"]) == len(points)


def test_the_picture_shows_where_it_is_off():
    """A ball of points 1 mm outside on its left and as far inside on its right: red and blue, left and right of what
    is seen from the front (-y), whose right is +x; white beside it."""
    points = icosphere(6, 50.0).vertices
    values = np.where(points[:, 0] > 0, -1.0, 1.0)
    picture = heat_picture(Cloud(points), values, 1.0).astype(int)
    views = np.split(picture[:420, picture.shape[1] % 3 :], 3, axis=1)
    middle = views[1]
    mask = (middle != 255).any(axis=2)
    columns = np.flatnonzero(mask.any(axis=0))
    red, blue = middle[..., 0] - middle[..., 2] > 40, middle[..., 2] - middle[..., 0] > 40
    assert (red | blue)[mask].mean() > 0.97
    assert np.flatnonzero(red.any(axis=0)).max() < columns.mean() + 6
    assert np.flatnonzero(blue.any(axis=0)).min() > columns.mean() - 6
    assert mask.sum() / np.ptp(columns) ** 2 == pytest.approx(np.pi / 4, abs=0.02)  # no hole in it
