"""The table of the tools names every one of them."""

from pathlib import Path

TOOLS = Path(__file__).resolve().parents[2] / "tools"


def test_every_tool_is_in_the_table():
    told = (TOOLS / "README.md").read_text(encoding="utf-8")
    assert [each.name for each in sorted(TOOLS.glob("*.py")) if f"`{each.name}`" not in told] == []
