"""The README's table of the demo runs: made from reports, complete, and sums that are those of its rows."""

import demo_table


def report(points, *steps):
    rows = [{"name": name, "seconds": seconds, "peak_mb": peak, "figures": {}} for name, seconds, peak in steps]
    rows[0]["figures"]["points"] = points
    return {"steps": rows}


def test_runs_stand_side_by_side_and_add_up():
    small = report(200_000, ("load", 0.12, 100.0), ("close", 9.96, 800.4))
    large = report(1_000_000, ("load", 0.5, 300.0), ("close", 61.04, 3100.0))
    lines = demo_table.table([small, large]).splitlines()
    assert lines[0] == "| step | s, 200,000 points | peak MB | s, 1,000,000 points | peak MB |"
    assert lines[2] == "| `load` | 0.1 | 100 | 0.5 | 300 |"
    assert lines[-1] == "| all | 10 | 800 | 62 | 3100 |"
    assert len({line.count("|") for line in lines}) == 1


def test_a_folder_without_a_report_is_named(tmp_path, capsys):
    assert demo_table.main([str(tmp_path)]) == 2
    assert "tools/demo.py" in capsys.readouterr().err
