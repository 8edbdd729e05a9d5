"""The load step: millimetres, told or asked for."""

import numpy as np
import pytest
from canthus.geometry.cloud import Cloud
from canthus.geometry.errors import BadSetting, NotReady
from canthus.geometry.solids.primitives import icosphere
from canthus.steps.intake.load import Load
from canthus.steps.workpiece import Landmark, Workpiece
from captures import bust, face_range_map, mri_head

# A head-only box of 232 mm, crown to chin (reference_values section 2).
HEAD = Cloud(icosphere(4).vertices * (77, 100, 116))


@pytest.mark.parametrize(("unit", "size"), [("mm", 1.0), ("cm", 0.1), ("m", 0.001), ("in", 1 / 25.4)])
def test_a_plain_head_is_told_from_its_size(unit, size):
    """150-450 millimetres, 15-45 centimetres, 0.15-0.45 metres, 6-18 inches: reference_values section 2."""
    scan = HEAD.moved(np.diag([size, size, size, 1.0]))
    piece = Load().apply(Workpiece(scan=scan, landmarks={"vertex": Landmark((0.0, 0.0, 116 * size))}))
    assert piece.units_in == unit
    np.testing.assert_allclose(piece.scan.points, HEAD.points, atol=1e-9)
    np.testing.assert_allclose(piece.landmarks["vertex"].position, (0, 0, 116))
    np.testing.assert_allclose(np.diag(piece.frame)[:3], 1 / size)
    assert piece.figures["z_mm"] == pytest.approx(232)
    assert "232 mm" in piece.notes[0]


@pytest.mark.parametrize("side", [2.9, 16.5, 55.0, 4000.0])
def test_what_could_be_two_things_is_asked_for(side):
    """15-18 may be inches or centimetres, 3 no head at all, 550 a bust in millimetres: propose, then ask."""
    scan = HEAD.moved(np.diag([*[side / 232] * 3, 1.0]))
    with pytest.raises(BadSetting, match=r"the unit cannot be told for certain.*--units") as caught:
        Load().apply(Workpiece(scan=scan))
    assert "\n" not in str(caught.value)


def test_a_unit_that_is_given_is_taken_and_a_strange_size_noted():
    piece = Load(units="mm").apply(Workpiece(scan=HEAD.moved(np.diag([0.1, 0.1, 0.1, 1]))))
    assert piece.units_in == "mm"
    assert np.ptp(piece.scan.points[:, 2]) == pytest.approx(23.2)
    assert "Taken for mm as asked" in piece.notes[0]


def test_real_captures_are_in_millimetres():
    """D1 and D3."""
    for mesh in (face_range_map(), mri_head()):
        assert Load().apply(Workpiece(scan=mesh)).units_in == "mm"


def test_a_bust_without_units_is_not_taken_for_millimetres():
    """D2: 9.26 high, no units."""
    piece = Workpiece(scan=bust(detailed=False))
    try:
        assert Load().apply(piece).units_in != "mm"
    except BadSetting as asked:
        assert "--units" in str(asked)  # noqa: PT017


def test_nothing_to_load_is_said():
    with pytest.raises(NotReady, match="there is no scan"):
        Load().apply(Workpiece())
    with pytest.raises(BadSetting, match="units is one of auto, mm, cm, m, in"):
        Load(units="furlong")
