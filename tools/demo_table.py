"""Seconds and peak memory of every step, from demo reports into README.md: `python3 tools/demo_table.py OUT [OUT ...]`.

Each OUT is what `python3 tools/demo.py --out OUT [--points N]` left.
"""

import json
import sys
from pathlib import Path
from typing import Any

import environment

START, END = "<!-- demo: made by tools/demo_table.py -->", "<!-- end of demo -->"


def main(words: list[str]) -> int:
    """0 once the table stands in the README; 2 where a folder holds no report."""
    if not words or not all((Path(word) / "report.json").exists() for word in words):
        print("demo_table: name folders that tools/demo.py left: OUT [OUT ...]", file=sys.stderr)
        return 2
    reports = [json.loads((Path(word) / "report.json").read_text(encoding="utf-8")) for word in words]
    readme = environment.ROOT / "README.md"
    before, rest = readme.read_text(encoding="utf-8").split(START)
    _, after = rest.split(END)
    readme.write_text(f"{before}{START}\n{table(reports)}\n{END}{after}", encoding="utf-8")
    return 0


def table(reports: list[dict[str, Any]]) -> str:
    """The steps of the reports side by side, and what all of them came to."""
    points = [report["steps"][0]["figures"]["points"] for report in reports]
    lines = ["| step |" + "".join(f" s, {n:,} points | peak MB |" for n in points), "|---|" + "---|---|" * len(reports)]
    for rows in zip(*(report["steps"] for report in reports), strict=True):
        cells = (f" {row['seconds']:.1f} | {row['peak_mb']:.0f} |" for row in rows)
        lines += [f"| `{rows[0]['name']}` |" + "".join(cells)]
    sums = [
        (sum(row["seconds"] for row in report["steps"]), max(row["peak_mb"] for row in report["steps"]))
        for report in reports
    ]
    lines.append("| all |" + "".join(f" {seconds:.0f} | {peak:.0f} |" for seconds, peak in sums))
    return "\n".join(lines)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
