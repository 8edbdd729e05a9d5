"""What the house wants of every file, looked at by machine."""

import ast
import importlib
import inspect
import pkgutil
import re
import tomllib
from pathlib import Path

import canthus
import pytest
from canthus.job.errands import ERRANDS
from canthus.steps.catalogue import STAGES, all_steps
from canthus.steps.step import Step

PACKAGE = Path(canthus.__file__).parent
ROOT = PACKAGE.parent
BELOW_HOST = sorted(
    path
    for path in PACKAGE.rglob("*.py")
    if "host" not in path.relative_to(PACKAGE).parts and path.name != "__init__.py"
)
EVERY_FILE = sorted(path for folder in ("addon", "tools", "tests") for path in (ROOT / folder).rglob("*.py"))
LONGEST = 500  # lines; the aim is 40 to 250
STEPS = all_steps()


def modules_below_host():
    for found in pkgutil.walk_packages([str(PACKAGE)], "canthus."):
        if not found.name.startswith("canthus.host") and found.name != "canthus.__main__":
            yield importlib.import_module(found.name)


def public_functions():
    for module in modules_below_host():
        for name, thing in vars(module).items():
            own = getattr(thing, "__module__", "") == module.__name__
            if own and inspect.isfunction(thing) and not name.startswith("_"):
                yield f"{module.__name__}.{name}", thing


def named(path):
    return str(path.relative_to(ROOT))


@pytest.mark.parametrize("path", BELOW_HOST, ids=named)
def test_nothing_below_the_host_room_knows_blender_prints_or_imports_itself_by_name(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    imported = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            imported |= {each.name.split(".")[0] for each in node.names}
        elif isinstance(node, ast.ImportFrom) and node.level == 0:
            imported.add((node.module or "").split(".")[0])
    assert not imported & {"bpy", "bmesh", "mathutils", "gpu", "canthus"}
    # References for the tests are never part of the add-on.
    assert not imported & {"igl", "open3d", "trimesh", "pymeshlab", "skimage", "nibabel", "lib3mf"}


@pytest.mark.parametrize("path", BELOW_HOST, ids=named)
def test_errors_are_never_swallowed(path):
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.ExceptHandler):
            assert node.type is not None, f"bare except in line {node.lineno}"
            assert not (len(node.body) == 1 and isinstance(node.body[0], ast.Pass)), (
                f"except: pass in line {node.lineno}"
            )


def test_every_module_is_named_in_the_developers_guide():
    """But those of steps, which are called as their steps are."""
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    left_out = ("__init__.py", "__main__.py")
    modules = [
        path for path in PACKAGE.rglob("*.py") if path.name not in left_out and PACKAGE / "steps" not in path.parents
    ]
    assert [named(path) for path in modules if f"`{path.name}`" not in guide] == []


def test_arc_tangents_come_from_one_place():
    """numpy's own rounds by where its operands lie in memory; see geometry/angles.py."""
    sources = [path for path in BELOW_HOST if path.name != "angles.py"]
    assert [path.name for path in sources if "np.arctan2(" in path.read_text(encoding="utf-8")] == []


@pytest.mark.parametrize("path", EVERY_FILE, ids=named)
def test_a_file_is_one_subject(path):
    assert path.read_text(encoding="utf-8").count("\n") <= LONGEST
    assert path.stem not in ("utils", "helpers", "misc", "common")


@pytest.mark.parametrize(
    ("name", "function"), list(public_functions()), ids=lambda value: value if isinstance(value, str) else ""
)
def test_public_functions_say_what_they_take_give_and_raise(name, function):
    """A summary always; where the docstring has sections, every parameter is among them."""
    text = inspect.getdoc(function) or ""
    assert text, f"{name} has no docstring"
    signature = inspect.signature(function)
    assert signature.return_annotation is not inspect.Signature.empty
    section = re.search(r"^Parameters\n-+\n(.*?)(?=^\w+\n-+\n|\Z)", text, re.M | re.S)
    if section:
        described = set(re.findall(r"\w+", " ".join(re.findall(r"^(\S.*?) ?:", section.group(1), re.M))))
        expected = {each for each in signature.parameters if each not in ("progress",) and not each.startswith("_")}
        assert expected <= described, f"{name} does not describe {sorted(expected - described)}"


@pytest.mark.parametrize("step", STEPS, ids=lambda step: step.NAME)
def test_a_step_is_declared_whole(step):
    assert re.fullmatch(r"[a-z]+(-[a-z]+)*", step.NAME)
    assert step.STAGE in STAGES
    assert step.__module__.split(".")[-2] == step.STAGE
    assert step.summary().endswith(".")
    assert len(step.summary()) <= 120
    for each in step.settings():
        assert each.help, f"{step.NAME}: {each.name} has no help"
        assert not each.help.endswith("."), f"{step.NAME}: {each.name}"
        assert each.at in ("", "life", "print")
        assert not each.at or each.unit.startswith("mm")
    assert step() == step.made_from(step().values())


def test_steps_stand_in_the_order_of_the_stages():
    stages = [STAGES.index(step.STAGE) for step in STEPS]
    assert stages == sorted(stages)
    assert len({step.NAME for step in STEPS}) == len(STEPS)


def test_every_step_that_is_written_is_in_the_catalogue():
    for _ in modules_below_host():
        continue  # imports them all

    def below(kind):
        for each in kind.__subclasses__():
            yield each
            yield from below(each)

    written = {each for each in below(Step) if each.__module__.startswith("canthus.") and "NAME" in vars(each)}
    assert written == {*STEPS, *ERRANDS}
    assert not {each.NAME for each in ERRANDS} & {each.NAME for each in STEPS}


def test_every_choice_of_a_setting_has_a_tooltip():
    """Without one the extension does not start: the host asks for all of them when it is enabled."""
    from canthus.host.scene.choices import choice_help

    for step in (*STEPS, *ERRANDS[:1]):
        for each in step.settings():
            assert all(choice_help(step.NAME, each.name, choice) for choice in each.choices)


def test_the_version_is_the_same_everywhere():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    manifest = tomllib.loads((PACKAGE / "blender_manifest.toml").read_text(encoding="utf-8"))
    assert project["version"] == manifest["version"]


def test_every_package_is_listed_for_installing():
    listed = set(tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["setuptools"]["packages"])
    there = {
        ".".join(["canthus", *path.parent.relative_to(PACKAGE).parts])
        for path in PACKAGE.rglob("__init__.py")
        if "wheels" not in path.parts
    }
    assert there == listed


def test_enabling_is_quick():
    """Importing the package brings in nothing heavy."""
    import subprocess
    import sys

    code = (
        "import canthus, sys; print([name for name in ('numpy', 'scipy', 'manifold3d', 'bpy') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
    code = (
        "from canthus.steps.catalogue import all_steps; all_steps(); import sys;"
        "print([name for name in ('scipy', 'manifold3d', 'fast_simplification') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
