"""Every button, setting and choice says what it is for; a button that is grayed out says what is missing."""

import bpy
import pytest
from canthus.host import registration

OPERATORS = sorted(
    each.bl_idname.removeprefix("canthus.") for each in registration._classes() if "_OT_" in each.__name__
)
GROUPS = sorted(each.__name__ for each in registration._classes() if "_PG_" in each.__name__)
NOT_SHOWN = {"CANTHUS_PG_progress", "CANTHUS_PG_photo_mark", "CANTHUS_PG_settings"}
"""Groups that hold what other groups and the program itself keep: no panel shows a field of them."""
THE_HOSTS_OWN = {"rna_type", "name", "remove_name", "remove_active", "use_custom_name"}
"""Fields the host gives to every operator, or to those of presets."""
FOUND = {"CANTHUS_PG_photo": {"marks", "rms", "focal_found", "focal_error"}}
"""What is worked out and shown as text."""


def bare(properties, besides=()):
    """Names of those without a tooltip, and of choices without one."""
    for each in properties:
        if each.identifier in THE_HOSTS_OWN or each.identifier in besides or each.is_hidden:
            continue
        if not each.description:
            yield each.identifier
        if each.type == "ENUM":
            yield from (f"{each.identifier}: {item.identifier}" for item in each.enum_items if not item.description)


@pytest.mark.parametrize("name", OPERATORS)
def test_a_button_and_all_it_asks_for_have_a_tooltip(name):
    made = getattr(bpy.ops.canthus, name).get_rna_type()
    assert made.description
    assert list(bare(made.properties)) == []


@pytest.mark.parametrize("name", [each for each in GROUPS if each not in NOT_SHOWN])
def test_settings_in_the_panels_have_a_tooltip(name):
    assert list(bare(bpy.types.PropertyGroup.bl_rna_get_subclass_py(name).bl_rna.properties, FOUND.get(name, ()))) == []


@pytest.mark.parametrize("name", OPERATORS)
def test_a_button_that_cannot_be_pressed_says_why(name):
    """In an empty scene: either it may be pressed, or the host has a sentence of ours to show."""
    button = getattr(bpy.ops.canthus, name)
    if button.poll():
        return
    with pytest.raises(RuntimeError) as told:
        button()
    assert "context is incorrect" not in str(told.value)
    assert str(told.value).split("failed, ")[-1].strip()
