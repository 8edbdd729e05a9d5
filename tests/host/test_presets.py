"""Presets of a step's settings, kept and found by the host's own preset system."""

import os
import subprocess
import sys
import textwrap

import bpy
import pytest
from canthus.anatomy.eyes.eye import stock_series
from canthus.host.buttons import ready_presets
from canthus.host.scene import settings
from canthus.steps.catalogue import step_named

SCRIPT = """
    from pathlib import Path
    import bpy, canthus
    canthus.register()
    settings = bpy.context.scene.canthus
    settings.scale.ratio, settings.scale.shrinkage = "1/12", 1.5
    assert bpy.ops.canthus.scale_preset(name="Half of the Usual") == {"FINISHED"}
    settings.neck.kind, settings.neck.fit = "magnet", "slip"
    assert bpy.ops.canthus.neck_preset(name="Magnet 5") == {"FINISHED"}
    settings.scale.ratio, settings.scale.shrinkage, settings.neck.kind = "1/6", 0.0, "peg"

    def kept(step):
        return {Path(folder) / name for folder in bpy.utils.preset_paths(f"canthus/{step}")
                for name in Path(folder).iterdir()}

    [scale], [neck] = kept("scale"), kept("neck")
    bpy.ops.script.execute_preset(filepath=str(scale), menu_idname="CANTHUS_MT_scale_presets")
    assert settings.scale.ratio == "1/12" and abs(settings.scale.shrinkage - 1.5) < 1e-6
    assert settings.neck.kind == "peg"
    bpy.ops.script.execute_preset(filepath=str(neck), menu_idname="CANTHUS_MT_neck_presets")
    assert (settings.neck.kind, settings.neck.fit) == ("magnet", "slip")
    assert bpy.types.CANTHUS_MT_neck_presets.bl_label == "Magnet 5"
    bpy.ops.canthus.neck_preset(remove_active=True)
    assert kept("neck") == set() and kept("scale") == {scale}

    photo = bpy.data.images.new("front", 30, 40).canthus_photo
    photo.lens, photo.focal, photo.gaze = "portrait lens", 3200.0, "camera"
    [menu] = [each for each in canthus.host.buttons.presets.classes() if each.__name__ == "CANTHUS_MT_photo_presets"]
    [button] = [each for each in canthus.host.buttons.presets.classes() if each.__name__ == "CANTHUS_OT_photo_preset"]
    assert [value.split(".")[1] for value in button.preset_values] == ["gaze", "across", "up", "lens", "focal"]
    for value in button.preset_values:
        eval(value, {"settings": photo})
    canthus.unregister()
    print("to the end")
"""


def test_a_preset_is_kept_chosen_and_forgotten(tmp_path):
    """In a user folder of its own, so that nobody's presets are touched."""
    outcome = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(SCRIPT)],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "BLENDER_USER_RESOURCES": str(tmp_path)},
    )
    assert outcome.returncode == 0, outcome.stdout + outcome.stderr
    assert outcome.stdout.strip().endswith("to the end")


PRESETS = [(step, name) for step, presets in ready_presets.READY.items() for name in presets]


@pytest.mark.parametrize(("step", "name"), PRESETS, ids=[f"{step}: {name}" for step, name in PRESETS])
def test_a_preset_that_is_there_from_the_start_gives_settings_its_step_takes(step, name, scene):
    assert bpy.ops.canthus.take_preset(step=step, preset=name) == {"FINISHED"}
    made = settings.step_from(step_named(step), settings.stored(scene, step_named(step)))
    for setting, value in ready_presets.READY[step][name].items():
        assert getattr(made, setting) == pytest.approx(parsed(value) if setting == "ratio" else value)
    if step == "place-eyes" and made.series:
        assert all(0 < size <= 28 for size in stock_series(made.series))


def parsed(ratio):
    one, many = ratio.split("/")
    return int(one) / int(many)


def test_a_preset_that_is_none_is_told():
    with pytest.raises(RuntimeError, match='no preset "nine tenths"'):
        bpy.ops.canthus.take_preset(step="scale", preset="nine tenths")
