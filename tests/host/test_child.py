"""Steps in a child process: the same result, its own words when it cannot, nothing left when it is stopped."""

import time

import numpy as np
import pytest
from canthus.geometry.errors import CanthusError
from canthus.host.buttons.child import Child
from canthus.job.run import run
from canthus.steps.catalogue import step_named
from canthus.steps.pose.scale import Scale


def waited(child):
    end = time.monotonic() + 120
    while child.look():
        assert time.monotonic() < end
        time.sleep(0.05)
    return child


def test_it_gives_what_running_here_gives(piece):
    child = waited(Child(piece, [Scale(ratio="1/7")]))
    assert child.fraction == 1
    result, expected = child.result(), run([Scale(ratio="1/7")], piece)
    np.testing.assert_array_equal(result.head.vertices, expected.head.vertices)
    assert [done.name for done in result.history] == ["scale"]
    assert not child.folder.exists()


def test_why_it_cannot_is_told(piece):
    child = waited(Child(piece.but(head=None), [step_named("hollow")()]))
    with pytest.raises(CanthusError, match="no closed head yet"):
        child.result()
    assert not child.folder.exists()


def test_stopped_it_leaves_nothing(piece):
    child = Child(piece, [step_named("hollow")()])
    child.stop()
    assert not child.folder.exists()
    child.stop()


def test_a_child_that_dies_is_told(piece):
    child = Child(piece, [step_named("hollow")()])
    child._process.kill()
    with pytest.raises(CanthusError, match="stopped by itself"):
        waited(child).result()
