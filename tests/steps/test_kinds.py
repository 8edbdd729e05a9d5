"""What each step is said to look at and to change is what it does: watched at work on a small piece."""

import dataclasses
from contextlib import contextmanager

import numpy as np
import pytest
from canthus.steps.catalogue import all_steps
from canthus.steps.kinds import ALL, kinds
from canthus.steps.workpiece import Workpiece
from small_pieces import piece_for, settings_for

SLOW = ("landmarks", "check", "register", "rebuild-lids", "fit-base")
"""Watched once, by hand, with what is said below: together they take a minute."""
STEPS = [step for step in all_steps() if step.NAME not in SLOW]
HANDED_ON = {
    "drop-islands": {"skin"},
    "cull-lashes": {"landmarks"},
    "place-eyes": {"eyes"},
    "make-eyes": {"parts"},
    "vent": set(),
    "load": {"scan"},
    "measure": {"eyes"},
}
"""What a step takes in hand without its outcome hanging on what came before: its own earlier work, what it hands on."""
FIELDS = {each.name for each in dataclasses.fields(Workpiece)}


class Watched(Workpiece):
    """A workpiece that notes which of its fields are asked for, other than to hand them on."""

    def __getattribute__(self, name):
        if name in FIELDS and Watched.on:
            Watched.asked.add(name)
        return object.__getattribute__(self, name)


@contextmanager
def unwatched():
    was, Watched.on = Watched.on, False
    yield
    Watched.on = was


def handing_on(name):
    own = getattr(Workpiece, name)

    def handed(self, *given, **named):
        with unwatched():
            return own(self, *given, **named)

    return handed


for each in ("but", "measured", "noted", "moved"):
    setattr(Watched, each, handing_on(each))


def at_work(step, folder):
    piece = piece_for(step.NAME)
    Watched.on, Watched.asked = False, set()
    watched = Watched(**{name: getattr(piece, name) for name in FIELDS})
    Watched.on = True
    try:
        after = step.made_from(settings_for(step.NAME, folder)).apply(watched)
    finally:
        Watched.on = False
    return piece, after, Watched.asked


def form(shape):
    return None if shape is None else getattr(shape, "vertices", getattr(shape, "points", None))


def same(one, other):
    return one is other or (one is not None and other is not None and np.array_equal(one, other))


def changed(before, after):
    if not same(before.frame, after.frame):
        return {"frame"} | ({"scale"} if before.scale != after.scale else set())
    found = {
        name for name in ("scan", "head", "skin") if not same(form(getattr(before, name)), form(getattr(after, name)))
    }
    found |= {name for name in ("landmarks", "eyes") if getattr(before, name) != getattr(after, name)}
    for name in before.parts.keys() | after.parts.keys():
        if not same(form(before.parts.get(name)), form(after.parts.get(name))):
            found.add("hair" if name == "hair" else "parts")
    return found


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.NAME)
def test_a_step_looks_at_and_changes_what_is_said(step, tmp_path):
    before, after, asked = at_work(step, tmp_path)
    looked_at = step.READS | HANDED_ON.get(step.NAME, set())
    looked_at |= {"parts"} if "hair" in looked_at else set()
    scan_stage = {"scale", "frame", "landmarks"}  # those of Intake and Clean measure at life size
    assert asked & ALL <= looked_at | scan_stage
    apart = step.CHANGES | ({"frame"} if step.NAME == "scale" else set())
    assert changed(before, after) <= apart


def test_every_step_says_kinds_there_are():
    names = {step.NAME for step in all_steps()}
    for step in all_steps():
        assert step.READS | step.CHANGES <= ALL, step.NAME
    assert {*SLOW, *HANDED_ON} <= names
    with pytest.raises(ValueError, match="no such kinds: nose"):
        kinds("nose", "head")


def test_every_step_past_pose_and_scale_hangs_on_them():
    """A setting in millimetres, a plane, a pore of so much: all of it is meant in the pose and at the size it is."""
    steps = all_steps()
    names = [step.NAME for step in steps]
    for of, kind in (("pose", "frame"), ("scale", "scale")):
        for step in steps[names.index(of) + 1 :]:
            assert kind in step.READS or step.NAME == "scale", step.NAME
