"""The benchmark's own bookkeeping, and every row of it at a size that takes no time; no figure is judged here."""

import importlib
import re

import numpy as np
import pytest

benchmark = importlib.import_module("benchmark")
parts = importlib.import_module("benchmarks.rows")
body = importlib.import_module("benchmarks.bench")
growth = importlib.import_module("benchmarks.growth")
plots = importlib.import_module("benchmarks.plots")
table = importlib.import_module("benchmarks.table")
for stage in benchmark.STAGES:
    if (benchmark.environment.ROOT / "tools" / "benchmarks" / f"{stage}.py").exists():
        importlib.import_module(f"benchmarks.{stage}")


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    body.KEPT, kept = tmp_path_factory.mktemp("kept"), body.KEPT
    yield body.Bench(grid_mm=2.5)
    body.KEPT = kept


@pytest.mark.parametrize("name", list(parts.MEASURES))
def test_every_measure_gives_rows_at_a_tiny_size(bench, name):
    rows = list(parts.MEASURES[name].rows(bench, 8000))
    assert rows
    for row in rows:
        assert row.seconds > 0
        assert all(np.isfinite(quality.ours) for quality in row.qualities)
    assert len(set(map(len, map(table._cells, rows)))) == 1


def test_a_bar_bounds_the_ratio_or_the_figure_itself():
    ours, theirs = parts.Timed(None, 1.5), parts.Timed(None, 1.0)
    row = parts.row("close", 1000, ours, "other", theirs, bar=1.5)
    assert table.verdict(row) is True
    assert table.verdict(row.quality("RMS mm", 0.2, 0.1, bar=1.0)) is False
    assert table.verdict(row.quality("genus", 0.0, bar=0, absolute=True)) is True
    assert table.verdict(parts.row("close", 1000, ours, "other", None, bar=0.1)) is None
    assert "1.50 (≤ 1.5)" in table.plain([row])
    assert "0.2 / 0.1 (≤ 1, missed)" in table.plain([row.quality("RMS mm", 0.2, 0.1, bar=1.0)])


def test_rows_of_a_run_take_the_place_of_the_same_rows():
    text = f"before\n{table.START}\n{table.END}\nafter\n"
    one, other = (parts.Row(name, 1000, 1.0) for name in ("close", "reduce"))
    text = table.with_rows(table.with_rows(text, [one, other]), [parts.Row("close", 1000, 2.0)])
    lines = [line for line in text.splitlines() if line.startswith("| ")]
    assert [line.split(" | ")[:3] for line in lines[1:]] == [
        ["| close", "1,000", "2.00"],
        ["| reduce", "1,000", "1.00"],
    ]
    assert text.startswith("before\n")
    assert text.endswith("after\n")


def test_the_readme_has_room_for_the_table():
    text = (benchmark.environment.ROOT / "README.md").read_text(encoding="utf-8")
    assert text.count(table.START) == text.count(table.END) == 1


def test_the_growth_plot_shows_each_step_at_its_place(tmp_path):
    found = [growth.Growth("close", n, 1e-5 * n, 1e-3 * n) for n in (100_000, 200_000)]
    growth.draw(found, tmp_path / "growth.svg")
    text = (tmp_path / "growth.svg").read_text(encoding="utf-8")
    places = [float(y) for y in re.findall(r'<circle cx="[\d.]+" cy="([\d.]+)"', text)]
    assert len(places) == 4
    assert places[0] == places[1]  # as much time a point at either size
    assert text.count(">close</text>") == 1


@pytest.mark.parametrize(("most", "last", "count"), [(11.8, 10, 6), (2.67, 2.5, 6), (24, 20, 5), (3.0, 3, 4)])
def test_axes_are_marked_at_round_values(most, last, count):
    """Four to seven marks from nought, a step of 1, 2 or 5 times a power of ten: worked by hand."""
    values = plots.round_values(most)
    assert (values[0], values[-1], len(values)) == (0, pytest.approx(last), count)


def test_two_measures_of_one_name_are_refused():
    taken = next(iter(parts.MEASURES))
    with pytest.raises(ValueError, match=taken):
        parts.measured(taken)(lambda bench, size: [])


def test_an_unknown_name_is_refused(capsys):
    with pytest.raises(SystemExit):
        benchmark.main(["no-such-row"])
    assert "there is" in capsys.readouterr().err
