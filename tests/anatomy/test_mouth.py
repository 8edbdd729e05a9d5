"""The corners of the mouth on a plain relief with a fold drawn into it."""

import numpy as np
import pytest
from canthus.anatomy.face.front_search import mouth_landmarks
from canthus.geometry.views.depth_map import DepthMap

# Breadth of a mouth 52.0 +- 4.0 mm (jkamprs 2019, doi 10.1186/s40902-019-0191-7, table 9).
CORNER = 26.0


def face_with_a_fold(deep_to, faint_from, faint, pit=0.0):
    """A bulging face with a fold 3 mm broad, deep up to one place and faint beyond, with a pit at the corner."""
    across, up = np.meshgrid(np.arange(-60, 60.2, 0.4), np.arange(-80, 40.2, 0.4))
    from_middle = np.abs(across)
    depth = 100 - across**2 / 160
    deep = 1 / (1 + np.exp((from_middle - deep_to) / 0.5))
    spot = faint * ((from_middle > faint_from) & (from_middle < CORNER))
    fold = np.maximum(deep, spot) * np.exp(-(((up + 56) / 1.2) ** 2))
    pits = pit * np.exp(-(((from_middle - CORNER) / 1.2) ** 2) - ((up + 56) / 1.2) ** 2)
    return DepthMap(depth - 1.5 * np.maximum(fold, pits), (-60.0, -80.0), 0.4)


def corners(front):
    marks = {"sellion": (np.array([0.0, -100, 16]), 0.95), "stomion": (np.array([0.0, -100, -56]), 0.95)}
    found = mouth_landmarks(front, marks, 0.86)
    places = {name: place[0] for name, (place, _) in found.items()}
    return places["cheilion-left"], places["cheilion-right"], min(each for _, each in found.values())


def test_a_clear_line_ends_at_sure_corners():
    left, right, confidence = corners(face_with_a_fold(CORNER, CORNER, 0.0))
    assert [left, right] == pytest.approx([CORNER, -CORNER], abs=1.5)
    assert confidence > 0.5


def test_corners_that_the_scan_blurred_are_not_sure():
    *_, confidence = corners(face_with_a_fold(19.0, 23.0, 0.6))
    assert confidence < 0.5


def test_a_line_blunted_before_its_corner_is_followed_to_the_pit_at_its_end():
    left, right, confidence = corners(face_with_a_fold(20.0, 20.0, 0.15, pit=0.6))
    assert [left, right] == pytest.approx([CORNER, -CORNER], abs=1.5)
    assert 0.5 < confidence < 0.7


def test_a_pit_that_no_line_leads_to_makes_the_corners_weak():
    *_, confidence = corners(face_with_a_fold(20.0, 20.0, 0.1, pit=0.45))
    assert confidence < 0.5
