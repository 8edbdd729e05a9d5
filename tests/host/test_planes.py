"""The planes with handles lie where the steps cut."""

import bpy
import numpy as np
import pytest
from canthus.anatomy.neck import find_cut
from canthus.anatomy.parting import parting_plane
from canthus.host.hands import planes
from canthus.host.scene import scene_piece
from demo_heads import demo_head


@pytest.fixture(scope="module")
def head():
    return demo_head(0).mesh


@pytest.fixture
def shown(head, piece, scene):
    scene_piece.write_piece(piece.but(head=head, skin=head, landmarks={}, parts={}, eyes=()), scene)
    yield
    planes.forget()


@pytest.mark.parametrize(("raise_by", "tilt"), [(0.0, 0.0), (4.0, 0.0), (0.0, 12.0), (-3.0, -20.0)])
@pytest.mark.parametrize("step", ["neck", "key"])
def test_the_plane_moved_by_handles_is_the_one_the_step_finds(shown, head, step, raise_by, tilt):
    bpy.ops.canthus.show_plane(step=step)
    here = planes.moved(planes.showing(bpy.context), raise_by, np.radians(tilt))
    find = (
        (lambda *how: find_cut(head, {}, *how).plane) if step == "neck" else lambda *how: parting_plane(head, {}, *how)
    )
    there = find(raise_by, np.radians(tilt))
    assert here.up == pytest.approx(there.up, abs=1e-5)
    assert here.heights(there.origin[None])[0] == pytest.approx(0.0, abs=0.5 if tilt else 1e-4)


def test_the_button_shows_and_hides_it(shown):
    bpy.ops.canthus.show_plane(step="neck")
    assert planes.showing(bpy.context).step == "neck"
    bpy.ops.canthus.show_plane(step="key")
    assert planes.showing(bpy.context).step == "key"
    bpy.ops.canthus.show_plane(step="key")
    assert planes.showing(bpy.context) is None


def test_the_handles_write_the_step_s_settings(shown):
    bpy.ops.canthus.show_plane(step="neck")
    planes._raise(2.5)
    planes._tilt(-0.2)
    assert bpy.context.scene.canthus.neck.raise_by == pytest.approx(2.5)
    assert bpy.context.scene.canthus.neck.tilt == pytest.approx(0.2)
    assert planes._raised() == pytest.approx(2.5)
    assert planes._tilted() == pytest.approx(-0.2)


def test_it_goes_with_the_head_it_was_found_on(shown, piece):
    bpy.ops.canthus.show_plane(step="neck")
    collection = scene_piece.piece_collection(bpy.context)
    scene_piece.object_with(collection, "head").data = scene_piece.object_with(collection, "skin").data.copy()
    assert planes.showing(bpy.context) is None


def test_without_a_head_there_is_no_plane(piece, scene):
    scene_piece.write_piece(piece.but(head=None, skin=None, parts={}, eyes=()), scene)
    with pytest.raises(RuntimeError, match="no closed head yet"):
        bpy.ops.canthus.show_plane(step="neck")
