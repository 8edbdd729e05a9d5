"""Writes the table of steps into README.md, from the declarations; with --check only looks whether it is up to date."""

import sys
from itertools import groupby

import environment

START, END = "<!-- steps: made by tools/steps_table.py -->", "<!-- end of steps -->"


def main(words: list[str]) -> int:
    """0 where the table is, or now is, what the steps declare."""
    readme = environment.ROOT / "README.md"
    text = readme.read_text(encoding="utf-8")
    fresh = with_table(text)
    if "--check" in words:
        return 0 if fresh == text else 1
    readme.write_text(fresh, encoding="utf-8")
    return 0


def with_table(text: str) -> str:
    """The README's text with the table between its marks made anew."""
    before, rest = text.split(START)
    _, after = rest.split(END)
    return f"{before}{START}\n{_table()}\n{END}{after}"


def _table() -> str:
    from canthus.steps.catalogue import all_steps

    lines = ["| stage | step | what it does |", "|---|---|---|"]
    for stage, steps in groupby(all_steps(), key=lambda step: step.STAGE):
        for number, step in enumerate(steps):
            lines.append(f"| {stage if number == 0 else ''} | `{step.NAME}` | {step.summary()} |")
    return "\n".join(lines)


if __name__ == "__main__":
    environment.enter()
    sys.exit(main(sys.argv[1:]))
