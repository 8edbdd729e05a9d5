import importlib


def test_the_readme_lists_the_steps_as_they_are_declared():
    """Where this fails: python3 tools/steps_table.py."""
    steps_table = importlib.import_module("steps_table")
    text = (steps_table.environment.ROOT / "README.md").read_text(encoding="utf-8")
    assert steps_table.with_table(text) == text, "run python3 tools/steps_table.py"
