"""Pieces joined to one solid: volumes worked out by hand, and what stays loose."""

import numpy as np
import pytest
from canthus.geometry.measures import components, genus, is_watertight, volume
from canthus.geometry.mesh import Mesh
from canthus.geometry.refitting.bridging import joined
from canthus.geometry.solids.primitives import box, capsule, sphere


def together(*pieces):
    starts = np.cumsum([0, *(len(piece.vertices) for piece in pieces)])
    colours = [np.full((len(piece.vertices), 3), 40 * k + 40, np.uint8) for k, piece in enumerate(pieces)]
    triangles = [piece.triangles + start for piece, start in zip(pieces, starts, strict=False)]
    return Mesh(np.vstack([piece.vertices for piece in pieces]), np.vstack(triangles), np.vstack(colours))


def test_two_balls_apart_get_one_bridge_between_their_nearest_places():
    """Balls of radius 10 with 2 mm between: a bar 3 mm wide from 1.8 mm within one to 1.8 mm within the other."""
    pair = together(sphere(10.0, sag=0.01), sphere(10.0, (22.0, 0, 0), sag=0.01))
    found = joined(pair, 3.0, 3.0)
    assert (found.pieces, found.bridges, found.loose) == (2, 1, ())
    assert found.longest == pytest.approx(2.0, abs=0.02)
    assert is_watertight(found.mesh)
    assert components(found.mesh).max() == 0
    # between the balls the bar is as long as 2 mm and what their round fronts recede over its width
    recess = 10 - np.sqrt(100 - 1.5**2)
    bar = np.pi * 1.5**2 * 2.0 + 2 * np.pi * recess / 6 * (3 * 1.5**2 + recess**2) * (3 - 2)
    caps = np.pi * 1.5**2 * recess - np.pi * recess / 6 * (3 * 1.5**2 + recess**2)
    assert volume(found.mesh) - volume(pair) == pytest.approx(np.pi * 1.5**2 * 2.0 + 2 * caps, rel=0.05)
    assert bar > 0
    assert found.mesh.colours is not None


def test_locks_side_by_side_get_three_bridges_and_no_more():
    locks = together(capsule((0, 0, 0), (80, 0, 0), 4.0, sag=0.05), capsule((0, 10, 0), (80, 10, 0), 4.0, sag=0.05))
    fine = Mesh(locks.vertices, locks.triangles)
    from canthus.geometry.quad_meshes.splitting import split

    found = joined(split(fine, 4.0)[0], 2.5, 2.0)
    assert found.bridges == 3
    assert genus(found.mesh) == 2  # two holes between three bridges
    assert components(found.mesh).max() == 0


def test_what_overlaps_is_united_and_what_is_far_stays_and_is_told():
    boxes = [box((0, 0, 0), (10, 10, 10)), box((5, 0, 0), (15, 10, 10)), box((30, 0, 0), (34, 10, 10))]
    found = joined(together(*boxes), 8.0, 1.0)
    assert (found.pieces, found.bridges) == (3, 0)
    assert found.loose == ((pytest.approx(400.0), pytest.approx(15.0)),)
    assert volume(found.mesh) == pytest.approx(1500 + 400)


def test_pieces_are_joined_one_by_one_in_a_row():
    row = [sphere(3.0, (8.0 * k, 0, 0), sag=0.05) for k in range(4)]
    found = joined(together(*row), 2.5, 1.0)
    assert found.bridges == 3
    assert components(found.mesh).max() == 0


def test_a_hollow_stays_a_hollow():
    shell = sphere(10.0, sag=0.1)
    hollow = sphere(6.0, sag=0.1)
    inside = Mesh(hollow.vertices, hollow.triangles[:, ::-1])
    found = joined(together(shell, inside, sphere(3.0, (14.0, 0, 0), sag=0.1)), 2.0, 1.0)
    assert found.bridges == 1
    assert volume(found.mesh) == pytest.approx(volume(shell) - volume(hollow) + 113.1 + 0.8, rel=0.01)
