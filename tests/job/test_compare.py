import json

import numpy as np
import pytest
from canthus.files.reading import read
from canthus.files.writing import write
from canthus.geometry.cloud import Cloud
from canthus.geometry.deviation import deviation
from canthus.geometry.errors import BadMesh
from canthus.geometry.mesh import Mesh
from canthus.geometry.solids import box, icosphere
from canthus.job.command import main
from canthus.job.compare import INSIDE, MIDDLE, OUTSIDE, coloured, compare


@pytest.fixture
def files(tmp_path):
    """Half-millimetre steps: a cube from 0 to 10, and points at known places off its faces."""
    write(tmp_path / "cube.ply", box((0, 0, 0), (10, 10, 10)))
    off = np.array([[5, 5, 10.5], [5, 5, 9.0], [-2, 5, 5], [5, 0, 5]])  # +0.5, -1, +2, 0
    write(tmp_path / "off.ply", Cloud(off))
    return tmp_path / "off.ply", tmp_path / "cube.ply"


def test_figures_are_those_worked_by_hand(files):
    """Deviations +0.5, -1, +2 and 0: mean 0.375, mean square 5.25 / 4, largest either way 2 and 1."""
    figures = compare(*files)
    assert figures["points"] == 4
    assert figures["mean_mm"] == pytest.approx(0.375)
    assert figures["rms_mm"] == pytest.approx(np.sqrt(5.25 / 4))
    assert figures["max_outside_mm"] == pytest.approx(2.0)
    assert figures["max_inside_mm"] == pytest.approx(1.0)
    assert figures["p95_mm"] == pytest.approx(np.percentile([0.5, 1, 2, 0], 95))
    assert figures["sign_from"] == "closed surface"


def test_a_larger_ball_lies_outside_by_the_difference_of_the_radii():
    ball, larger = icosphere(4, 10.0), icosphere(4, 10.5)
    values, _ = deviation(larger.vertices, ball)
    assert values == pytest.approx(0.5, abs=1e-3)
    values, _ = deviation(ball.vertices, larger)
    assert values == pytest.approx(-0.5, abs=5e-3)


def test_an_open_surface_tells_the_side_by_its_facing():
    sheet = Mesh(np.array([[0, 0, 0], [9, 0, 0], [9, 9, 0], [0, 9, 0.0]]), np.array([[0, 1, 2], [0, 2, 3]]))
    values, told_from = deviation(np.array([[4, 4, 1.0], [4, 4, -2.0]]), sheet)
    assert values.tolist() == [1.0, -2.0]
    assert told_from == "facing of the nearest triangle"


def test_the_same_head_deviates_nowhere(files):
    figures = compare(files[1], files[1])
    assert figures["rms_mm"] == pytest.approx(0, abs=1e-12)


def test_the_command_prints_figures_and_writes_colours(files, capsys):
    heat = files[0].with_name("heat.ply")
    assert main(["compare", *map(str, files), "-o", str(heat), "--json"]) == 0
    figures = json.loads(capsys.readouterr().out)
    assert figures["max_outside_mm"] == pytest.approx(2.0)
    shown = read(heat)
    assert shown.columns["deviation"] == pytest.approx([0.5, -1, 2, 0], abs=1e-6)
    assert tuple(shown.colours[3]) == MIDDLE


def test_colours_run_from_inside_to_outside():
    ends = coloured(Cloud(np.zeros((4, 3))), np.array([-9.0, -1, 0, 5]), 1.0)
    assert [tuple(colour) for colour in ends.colours.tolist()] == [INSIDE, INSIDE, MIDDLE, OUTSIDE]


def test_points_are_no_surface_to_judge_against(files):
    with pytest.raises(BadMesh, match=r"off\.ply holds points without faces"):
        compare(files[1], files[0])
