"""Enabling: quick, without the heavy libraries, as often as one likes; the command answers."""

import subprocess
import sys
import textwrap

import canthus
import pytest


def in_a_new_host(script):
    """Run a script with its own Blender; its standard output."""
    outcome = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(script)], capture_output=True, text=True, check=False
    )
    assert outcome.returncode == 0, outcome.stderr
    return outcome.stdout


def test_enabling_is_quick_and_loads_nothing_heavy():
    """The bar of the project: under a second. Measured by the processor's clock, so that other work does not count."""
    said = in_a_new_host("""
        import sys, time, bpy, numpy
        begun = time.process_time()
        import canthus
        canthus.register()
        print(time.process_time() - begun)
        print([name for name in ("scipy", "manifold3d", "fast_simplification") if name in sys.modules])
        canthus.unregister()
    """)
    seconds, heavy = said.strip().splitlines()[-2:]
    assert float(seconds) < 1.0
    assert heavy == "[]"


def test_it_can_be_disabled_and_enabled_again():
    canthus.unregister()
    canthus.register()
    canthus.unregister()
    canthus.register()


def test_disabled_nothing_is_left():
    said = in_a_new_host("""
        import bpy, canthus
        canthus.register()
        canthus.unregister()
        print([name for name in dir(bpy.types) if "CANTHUS" in name.upper()])
        print(hasattr(bpy.types.Scene, "canthus"), hasattr(bpy.types.WindowManager, "canthus"))
        print([name for name in dir(bpy.types.Image) if "canthus" in name])
    """)
    assert said.strip().splitlines()[-3:] == ["[]", "False False", "[]"]


@pytest.mark.parametrize("words", [["steps"], ["steps", "--json"]])
def test_the_command_of_the_host_is_the_command_line(words, capfd):
    from canthus.host.registration import run_command
    from canthus.job.command import main

    assert run_command(words) == 0
    through_host = capfd.readouterr().out
    assert main(words) == 0
    assert capfd.readouterr().out == through_host
