"""A mask painted on the head is the column the step goes by, while it is painted and afterwards."""

import bpy
import numpy as np
import pytest
from canthus.host.buttons import masks
from canthus.host.scene import exchange, scene_piece


@pytest.fixture
def head(piece, scene):
    return scene_piece.object_with(scene_piece.write_piece(piece, scene), "head")


def paint(thing, values):
    gray = np.ones((len(values), 4), np.float32)
    gray[:, :3] = np.asarray(values, np.float32)[:, None]
    thing.data.color_attributes[exchange.MASK].data.foreach_set("color_srgb", gray.ravel())


def column(scene):
    found = scene_piece.read_piece(scene_piece.pieces_in(scene)[0], scene).head
    return found.columns[masks.COLUMN], found.colours


def test_it_begins_white_in_vertex_paint_and_ends_as_a_column(head, scene):
    assert bpy.ops.canthus.paint_mask() == {"FINISHED"}
    assert head.mode == "VERTEX_PAINT"
    values, colours = column(scene)
    assert values == pytest.approx(1.0)
    assert colours is None  # the mask is no colour of the head
    wanted = np.linspace(0, 1, len(head.data.vertices))
    paint(head, wanted)
    assert column(scene)[0] == pytest.approx(wanted, abs=1e-3)
    bpy.ops.canthus.paint_mask()
    assert head.mode == "OBJECT"
    assert not masks.painted(head)
    assert column(scene)[0] == pytest.approx(wanted, abs=1e-3)


def test_it_goes_on_from_what_was_painted_before(head, scene):
    bpy.ops.canthus.paint_mask()
    paint(head, np.full(len(head.data.vertices), 0.25))
    bpy.ops.canthus.paint_mask()
    bpy.ops.canthus.paint_mask()
    assert exchange.mask_of(head.data) == pytest.approx(0.25, abs=1e-3)


def test_undo_takes_the_mask_back(head, scene):
    bpy.ops.ed.undo_push(message="before")
    bpy.ops.canthus.paint_mask("EXEC_DEFAULT", True)
    bpy.ops.ed.undo()
    again = scene_piece.object_with(scene_piece.pieces_in(bpy.context.scene)[0], "head")
    assert not masks.painted(again)
    assert masks.COLUMN not in again.data.attributes


def test_without_a_head_there_is_nothing_to_paint_on(piece, scene):
    scene_piece.write_piece(piece.but(head=None, skin=None, parts={}, eyes=()), scene)
    with pytest.raises(RuntimeError, match="no closed head yet"):
        bpy.ops.canthus.paint_mask()
