"""Buttons and properties are made from the declarations: same settings, same defaults, same words."""

import math

import bpy
import pytest
from canthus.host.buttons.step_operator import BY_FILE, StepOperator
from canthus.host.scene import settings, wording
from canthus.steps.catalogue import all_steps, step_named

STEPS = all_steps()


def properties(step):
    return getattr(bpy.ops.canthus, settings.identifier(step)).get_rna_type().properties


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.NAME)
def test_each_step_has_a_button_with_its_settings(step):
    there = properties(step)
    for each in step.settings():
        assert each.name in there, f"{step.NAME} has no property {each.name}"
        assert there[each.name].description == wording.sentence(each.help)
        if each.kind == "int" or (each.kind == "float" and each.unit != "deg"):
            assert there[each.name].hard_min == pytest.approx(
                each.low if each.low is not None else there[each.name].hard_min
            )
        if each.unit == "mm":
            assert "mm" in there[each.name].name


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.NAME)
def test_the_defaults_of_the_scene_are_those_of_the_declaration(step, scene):
    assert settings.step_from(step, settings.stored(scene, step)) == step()


def test_angles_are_shown_as_angles_and_come_back_in_degrees(scene):
    neck = next(step for step in STEPS if step.NAME == "neck")
    stored = settings.stored(scene, neck)
    stored.tilt = math.radians(12.5)
    assert settings.step_from(neck, stored).tilt == 12.5
    assert properties(neck)["tilt"].subtype == "ANGLE"


def test_a_typed_number_is_meant_as_typed(scene):
    """The host keeps 0.3 as 0.30000001192092896."""
    hollow = next(step for step in STEPS if step.NAME == "hollow")
    stored = settings.stored(scene, hollow)
    stored.wall = 1.3
    assert stored.wall != 1.3
    assert settings.step_from(hollow, stored).wall == 1.3


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.NAME)
def test_words_are_short_spelled_for_the_interface_and_without_full_stop(step):
    kind = getattr(bpy.ops.canthus, settings.identifier(step)).get_rna_type()
    for text in (
        kind.name,
        kind.description,
        *(each.name for each in kind.properties),
        *(each.description for each in kind.properties),
    ):
        assert not text.endswith(".")
        assert wording.us_spelling(text) == text
    if step.NAME not in BY_FILE:
        assert kind.name == wording.title(step.NAME)


def test_settings_written_into_the_scene_come_back(scene):
    for step in STEPS:
        settings.fill_in(step(), settings.stored(scene, step))
        assert settings.step_from(step, settings.stored(scene, step)) == step()


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.NAME)
def test_no_setting_takes_the_place_of_what_its_button_does(step):
    """A property of an operator hides a method of the same name: the button would fail when pressed in a window."""
    own = {name for each in (StepOperator, bpy.types.Operator) for name in dir(each)}
    assert own & {each.name for each in step.settings()} == set()


def test_a_length_at_life_size_is_told_on_the_print_too(scene):
    """24.2 mm of globe at 1/6: 4.03 mm, worked by hand. What is meant on the print, and a count, is told once."""
    step = step_named("place-eyes")
    told = {each.name: settings.on_print(each, settings.stored(scene, step), 1 / 6) for each in step.settings()}
    globe = settings.stored(scene, step).globe
    assert told["globe"] == f"{globe / 6:.3g}"
    assert told["diameter"] == told["sources"] == ""
    assert {settings.on_print(each, settings.stored(scene, step), 1.0) for each in step.settings()} == {""}
