import tomllib
from pathlib import Path

import pytest
from canthus.geometry.errors import BadFile, BadSetting
from canthus.job.recipe import Input, Recipe, entry_of, for_another, read, step_of, written
from canthus.job.toml import toml_value
from hypothesis import given
from hypothesis import strategies as st

from .conftest import Close, Load


@given(
    st.recursive(
        st.booleans() | st.integers(-(2**63), 2**63 - 1) | st.floats(allow_nan=False) | st.text(),
        lambda inner: st.lists(inner, max_size=4),
        max_leaves=8,
    )
)
def test_values_read_back_to_the_same_bits(value):
    """Read by the standard library's own TOML reader."""
    try:
        text = f"value = {toml_value(value)}"
        text.encode()
    except UnicodeEncodeError:
        return  # lone surrogates are no text in TOML
    assert repr(tomllib.loads(text)["value"]) == repr(value)


def test_nothing_has_no_spelling():
    with pytest.raises(TypeError, match="NoneType"):
        toml_value(None)


@pytest.fixture
def file(tmp_path, workshop):
    steps = (Load(units="cm"), Close(resolution=1 / 3, way=(0.1, -0.2, 0.3), sharp=False))
    path = tmp_path / "recipe.toml"
    path.write_text(
        written(Recipe("ball", (Input("../a scan.ply", "ab" * 32),), steps), "0.1.0", tmp_path), encoding="utf-8"
    )
    return path, steps


def test_a_recipe_reads_back_as_it_was(file):
    path, steps = file
    recipe = read(path)
    assert recipe == Recipe("ball", (Input("../a scan.ply", "ab" * 32),), steps)


def test_every_setting_is_written_with_its_unit(file):
    path, steps = file
    entries = tomllib.loads(path.read_text(encoding="utf-8"))["step"]
    assert [step_of(entry) for entry in entries] == list(steps)
    assert entries == [entry_of(step) for step in steps]
    line = next(line for line in path.read_text(encoding="utf-8").splitlines() if line.startswith("resolution"))
    assert "# mm, at life size, from 0.1 to 5, Finest detail kept" in line


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ("rounds = 3", "rounds = 30", r"line 20: close: rounds runs from 1 to 9, not 30"),
        ("rounds = 3", "turns = 3", r"line 20: close: no setting called 'turns'"),
        ('step = "close"', 'step = "clsoe"', r"line 16: no step called 'clsoe'"),
        ('step = "close"', "", r"line 15: a step without a name"),
        ('name = "ball"', 'nmae = "ball"', r"line 5: a recipe has no 'nmae'"),
        ("sharp = false", "sharp = 7", r"line 18: close: sharp takes yes or no, not 7"),
    ],
)
def test_what_is_wrong_is_told_by_its_line(file, old, new, fault):
    path, _ = file
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(BadSetting, match=rf"recipe\.toml, {fault}"):
        read(path)


@pytest.mark.parametrize(
    ("text", "fault"),
    [("format = ", "no recipe"), ("format = 2", "format 2"), ("", "format None"), ("format = 1\n[[input]]\n", "lacks")],
)
def test_what_is_no_recipe_is_refused(text, fault, tmp_path, workshop):
    (tmp_path / "r.toml").write_text(text)
    with pytest.raises(BadFile, match=rf"r\.toml: .*{fault}"):
        read(tmp_path / "r.toml")


def test_a_missing_recipe_is_named(tmp_path):
    with pytest.raises(BadFile, match=r"none\.toml"):
        read(tmp_path / "none.toml")


def test_files_named_in_settings_are_found_from_where_the_recipe_lies(tmp_path, workshop, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "out").mkdir()
    text = written(Recipe("ball", (), (Close(guide="marks.json"),)), "0.1.0", tmp_path / "out")
    assert 'guide = "../marks.json"' in text
    (tmp_path / "out" / "r.toml").write_text(text, encoding="utf-8")
    monkeypatch.chdir("/")
    found = Path(read(tmp_path / "out" / "r.toml").steps[0].guide)
    assert found.resolve() == (tmp_path / "marks.json").resolve()


def test_a_history_is_kept_for_the_next_head_without_what_it_wrote():
    """Done to another head, `export` and `save` would go over the files of this one."""
    done = [
        {"name": "landmarks", "settings": {"propose": False, "save": "/sitter/landmarks.csv"}},
        {"name": "export", "settings": {"folder": "/sitter/parts", "overwrite": True}},
        {"name": "scale", "settings": {"ratio": 0.25}},
    ]
    steps = for_another(done)
    assert [step.NAME for step in steps] == ["landmarks", "scale"]
    assert (steps[0].propose, steps[0].save, steps[1].ratio) == (False, "", 0.25)
