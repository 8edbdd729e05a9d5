"""A bundled library that is missing, or spoiled by another extension: enabling works, buttons say what is wrong."""

import subprocess
import sys
import textwrap

import pytest
from canthus.files.writing import write
from canthus.geometry.libraries import told_if_missing
from small_pieces import egg

SCRIPT = """
    import sys, bpy
    gone, how, scan = sys.argv[1:]
    class Gone:
        def find_spec(self, name, path=None, target=None):
            if name.split(".")[0] == gone:
                if how == "missing":
                    raise ModuleNotFoundError(f"No module named {gone!r}", name=name)
                raise ImportError("built for another numpy", name=name)
    sys.meta_path.insert(0, Gone())
    import canthus
    canthus.register()
    bpy.context.scene.unit_settings.scale_length = 0.001
    def press(name, **settings):
        try:
            print(name, getattr(bpy.ops.canthus, name)(**settings))
        except RuntimeError as told:
            print(name, "told:", str(told).replace("\\n", " / "))
    press("load", filepath=scan, units="mm")
    press("close", resolution=6.0)
    press("reduce", triangles=200)
    press("neck")
    canthus.unregister()
    print("to the end")
"""
TOLD = [
    ("scipy", "missing", "load told: Error: The library scipy cannot be loaded (No module named 'scipy')"),
    ("scipy", "clashing", "load told: Error: The library scipy cannot be loaded (built for another numpy)"),
    ("manifold3d", "missing", "neck told: Error: Neck: the library manifold3d cannot be loaded"),
]


@pytest.mark.parametrize(("library", "how", "sentence"), TOLD)
def test_it_is_told_in_a_sentence(library, how, sentence, tmp_path):
    write(tmp_path / "sitter.ply", egg(4).head)
    outcome = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(SCRIPT), library, how, str(tmp_path / "sitter.ply")],
        capture_output=True,
        text=True,
        check=False,
    )
    assert outcome.returncode == 0, outcome.stderr
    assert outcome.stdout.strip().endswith("to the end")
    assert sentence in outcome.stdout
    assert "Traceback" not in outcome.stdout + outcome.stderr
    assert "install Canthus from its own zip" in outcome.stdout


def test_a_fault_of_our_own_keeps_its_traceback():
    with pytest.raises(ImportError), told_if_missing():
        import canthus.no_such_module  # noqa: F401
