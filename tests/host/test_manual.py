"""The examples of the manual run as they stand."""

import re
from pathlib import Path

import pytest
from canthus.files.writing import write
from small_pieces import egg

PAGE = Path(__file__).resolve().parents[2] / "addon" / "manual" / "scripting.md"
EXAMPLES = re.findall(r"```python\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)


@pytest.mark.parametrize("number", range(len(EXAMPLES)))
def test_an_example_runs(number, tmp_path):
    write(tmp_path / "sitter.ply", egg().head)
    place = {"FILE": str(tmp_path / "sitter.ply"), "FOLDER": str(tmp_path)}
    exec(compile(EXAMPLES[number], f"{PAGE.name}, example {number + 1}", "exec"), place)


def test_there_are_examples():
    assert len(EXAMPLES) >= 7
