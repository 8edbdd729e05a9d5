"""Lids rebuilt on three demo heads of other people, against the bars of the eyes' issue, measured here and not by the
steps: a head is a formula, its eyes' places are known."""

import dataclasses
import sys
from pathlib import Path

import numpy as np
import pytest
from canthus.anatomy.lids.lid_margin import opening_through
from canthus.anatomy.sockets.socket_opening import laid_open
from canthus.geometry.mending.intersections import self_intersections
from canthus.steps.eyes.carve_sockets import CarveSockets
from canthus.steps.eyes.each_eye import pocket_of
from canthus.steps.eyes.make_eyes import MakeEyes
from canthus.steps.eyes.place_eyes import PlaceEyes
from canthus.steps.eyes.rebuild_lids import RebuildLids
from canthus.steps.workpiece import Landmark, Workpiece
from scipy.spatial import cKDTree

sys.path.insert(0, str(Path(__file__).parents[1]))

from demo_heads import demo_head

SCALE, HEIGHT, LENGTH, BLEND = 1 / 6, 9.0, 27.0, 4.0
SEEDS = (31, 32, 41)  # none of them was looked at when the lids were made


@pytest.fixture(scope="module", params=SEEDS)
def steps(request):
    """The piece with its eyes placed, with new lids, and with the eyes in."""
    head = demo_head(request.param)
    marks = {name: Landmark(tuple(place.tolist())) for name, place in head.truth.landmarks.items()}
    piece = Workpiece(head=head.mesh, landmarks=marks).moved(np.diag([SCALE, SCALE, SCALE, 1.0])).but(scale=SCALE)
    placed = PlaceEyes().apply(piece)
    built = RebuildLids(fissure_length=LENGTH, fissure_height=HEIGHT, blend=BLEND).apply(placed)
    return placed, built, MakeEyes().apply(CarveSockets().apply(built))


def test_nothing_outside_the_blend_has_moved_by_a_bit(steps):
    placed, built, _ = steps
    old = {row.tobytes() for row in placed.head.vertices}
    kept = np.array([row.tobytes() in old for row in built.head.vertices])
    new, stayed = built.head.vertices[~kept], {row.tobytes() for row in built.head.vertices[kept]}
    # The new surface reaches no farther than crease (9 mm at most), blend and seam beyond the margins, and beside the
    # inner corner as far beyond the caruncle, where the opening ends.
    openings = cKDTree(np.concatenate([eye.opening for eye in built.eyes]))
    reach = 9.0 + BLEND + 7.0
    assert openings.query(new)[0].max() < reach * SCALE
    far = placed.head.vertices[openings.query(placed.head.vertices)[0] > reach * SCALE]
    assert len(far) > 0.8 * len(placed.head.vertices)
    assert all(row.tobytes() in stayed for row in far)


def test_the_seam_is_smooth_and_nothing_crosses(steps):
    placed, built, _ = steps
    old = {row.tobytes() for row in placed.head.vertices}
    kept = np.array([row.tobytes() in old for row in built.head.vertices])
    corners = kept[built.head.triangles]
    seam = np.flatnonzero(corners.any(axis=1) & ~corners.all(axis=1))
    normals, before = (facing(each.head) for each in (built, placed))
    middles = cKDTree(placed.head.corners.mean(axis=1))
    under = middles.query(built.head.corners[seam].mean(axis=1))[1]
    turns = np.degrees(np.arccos(np.clip((normals[seam] * before[under]).sum(axis=1), -1.0, 1.0)))
    assert np.percentile(turns, 95) < 5.0
    about = built.head.kept((~corners).any(axis=1))
    assert not len(self_intersections(about))


def facing(mesh):
    """(m, 3) unit normals."""
    a, b, c = mesh.corners.transpose(1, 0, 2)
    normals = np.cross(b - a, c - a)
    return normals / np.maximum(np.linalg.norm(normals, axis=1, keepdims=True), 1e-30)


def test_fissure_and_clearance_are_as_asked(steps):
    _, built, made = steps
    for eye in made.eyes:
        margin = lid_border(made, eye)
        # Across the middle of the fissure, seen from the front, straight from lid to lid.
        assert np.linalg.norm(np.diff(margin, axis=1)[:, 0], axis=1).max() / SCALE == pytest.approx(HEIGHT, abs=0.2)
        assert built.figures[f"{eye.side}_fissure_length_mm_life"] == pytest.approx(LENGTH, abs=0.2)
        # Beside each place of the border the eye is a clearance away, no more and no less.
        surface = cKDTree(points_of(made.parts[f"eye-{eye.side}"], eye))
        gaps = surface.query(margin.reshape(-1, 3))[0]
        assert np.abs(gaps - 0.1).max() < 0.05


def test_lids_keep_what_prints_and_the_pocket_alone_opens_them(steps):
    """0.25 mm were asked for; the rounded edge keeps three quarters of it, and no tool cuts along it."""
    _, built, made = steps
    for eye in built.eyes:
        place = dataclasses.replace(pocket_of(dataclasses.replace(eye, clearance=0.1)), length=0.0)
        assert laid_open(built.head, place, opening_through(eye.opening, place.centre), 0.15, SCALE)
        assert made.figures[f"{eye.side}_least_lid_mm"] > 0.75 * 0.25 - 0.01


def points_of(solid, eye):
    """Vertices and faces' middles of an eye in front of its centre: no two are farther apart than 0.1 mm."""
    return np.concatenate([solid.vertices, solid.corners.mean(axis=1)])


def lid_border(piece, eye):
    """(k, 2, 3) where the upper and the lower lid end on the pocket: the head's own vertices nearest to lines across.

    Of the vertices that the pocket's sphere left, or the cornea's room, those at the brink of the opening: no other of
    them lies nearer to the middle in the same direction.
    """
    centre, gaze, k = np.array(eye.centre), np.array(eye.gaze), eye.diameter / 24
    away = piece.head.vertices - centre
    ahead, off = away @ gaze, np.linalg.norm(away, axis=1)
    cornea = np.linalg.norm(away - 5 * k * gaze, axis=1)
    on = (ahead > 0.2) & (np.minimum(np.abs(off - 12 * k - 0.1), np.abs(cornea - 8 * k - 0.1)) < 0.004)
    ways = away[on]
    border = []
    for aside in np.arange(-5.0, 5.1, 1.0) * k:
        near = ways[np.abs(ways[:, 0] - aside) < 0.12]
        upper, lower = near[near[:, 2] > 0], near[near[:, 2] <= 0]
        border.append([upper[np.argmin(upper[:, 2])], lower[np.argmax(lower[:, 2])]])
    return np.array(border) + centre
