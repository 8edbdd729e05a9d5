"""The whole job by the sidebar's buttons, by the command line and by a recipe in background mode: the same parts."""

import subprocess
import sys

import bpy
import numpy as np
import pytest
from canthus.files.reading import read
from canthus.files.writing import write
from canthus.job.command import main
from demo_head.build import build

CELL = 0.45  # mm, of the grid the hollow is found on: coarse, so that the whole job is quick
SKIPPED = ("assess", "cull-strays", "cull-lashes", "merge-layers", "denoise", "measure", "check")
PRESSED = (
    *("close", "landmarks", "pose", "scale", "place_eyes", "rebuild_lids", "carve_sockets", "make_eyes"),
    *("neck", "hollow", "key", "vent"),
)
IN_BACKGROUND = """
import sys, bpy, canthus
canthus.register()
bpy.context.scene.unit_settings.scale_length = 0.001
scan, recipe, folder = sys.argv[1:]
bpy.ops.canthus.load(filepath=scan)
bpy.ops.canthus.run_recipe(filepath=recipe)
bpy.ops.canthus.export(folder=folder)
canthus.unregister()
"""


@pytest.fixture(scope="module")
def scan(tmp_path_factory):
    path = tmp_path_factory.mktemp("job") / "sitter.ply"
    write(path, build(grid_mm=3.0).mesh)
    return path


@pytest.fixture(scope="module")
def by_command_line(scan):
    words = ["--scale", "1/6", f"--set=hollow.cell={CELL}", *(f"--skip={step}" for step in SKIPPED)]
    assert main(["make", str(scan), "--out", str(scan.parent / "line"), *words]) == 0
    return scan.parent / "line"


def parts_in(folder):
    return {path.stem: read(path) for path in folder.glob("**/*.stl")}


def assert_same(folder, other):
    ours, theirs = parts_in(folder), parts_in(other)
    assert ours.keys() == theirs.keys() >= {"head", "eye-left", "eye-right", "skull-cap"}
    for name, part in ours.items():
        assert np.array_equal(part.triangles, theirs[name].triangles), name
        assert np.abs(part.vertices - theirs[name].vertices).max() <= 1e-6, name


def test_the_sidebar_makes_the_parts_of_the_command_line(scan, by_command_line, scene):
    bpy.ops.canthus.load(filepath=str(scan))
    scene.canthus.scale.ratio = "1/6"
    scene.canthus.hollow.cell = CELL
    for name in PRESSED:
        group = getattr(scene.canthus, name)
        getattr(bpy.ops.canthus, name)(**{each: getattr(group, each) for each in type(group).__annotations__})
    bpy.ops.canthus.export(folder=str(scan.parent / "bar"))
    assert_same(scan.parent / "bar", by_command_line)


def test_a_recipe_in_background_makes_the_parts_of_the_command_line(scan, by_command_line):
    words = [str(scan), str(by_command_line / "recipe.toml"), str(scan.parent / "back")]
    subprocess.run([sys.executable, "-c", IN_BACKGROUND, *words], check=True, capture_output=True)
    assert_same(scan.parent / "back", by_command_line)
