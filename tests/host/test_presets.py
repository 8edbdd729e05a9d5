"""Presets of a step's settings, kept and found by the host's own preset system."""

import os
import subprocess
import sys
import textwrap

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
