"""Passes of a known body placed by marked points, with and without one that is of something else.

What is checked against is the motion each pass was moved by; the marks are off by 1.5 mm, as a hand picks them.
"""

import numpy as np
import pytest
from canthus.geometry.clouds.marked_placing import marks_apart, placed_by_marks
from canthus.geometry.clouds.registration import registered
from canthus.geometry.errors import NotPossible
from canthus.geometry.transforms import applied
from geometry.test_registration import lump, move

WAYS = [(0, -1, 0), (0.87, 0.5, 0), (-0.87, 0.5, 0)]
MOVES = [np.eye(4), move(150, (40, 20, -70), 1), move(80, (-20, 0, 100), 2)]
BACK, LEFT, RIGHT = (
    {"g": (0, 70, 20), "h": (5, 60, -50), "i": (-5, 50, 65)},
    {"a": (50, -50, 10), "b": (60, -40, -30), "c": (45, -45, 50)},
    {"d": (-60, -60, 10), "e": (-60, -40, -30), "f": (-45, -45, 50)},
)
PLACES = BACK | LEFT | RIGHT
SEEN = ["abcdef", "abcghi", "defghi"]


def marked(wobble):
    """The places on the lump that each moved pass sees, each off by `wobble` mm a way."""
    rng = np.random.default_rng(9)
    return [
        {name: applied(matrix, np.array(PLACES[name])) + wobble * rng.standard_normal(3) for name in seen}
        for seen, matrix in zip(SEEN, MOVES, strict=True)
    ]


def moved_passes(count=8000):
    return [applied(matrix, lump(count, k, way)) for k, (way, matrix) in enumerate(zip(WAYS, MOVES, strict=True))]


def errors(fits):
    """Farthest any point of a pass of the lump lies from where it was, mm."""
    return [
        float(np.linalg.norm(applied(fit.matrix, points) - applied(np.linalg.inv(astray), points), axis=1).max())
        for fit, astray, points in zip(fits, MOVES, moved_passes(), strict=False)
    ]


def test_exact_marks_give_the_motion_back():
    for found, astray in zip(placed_by_marks(marked(0.0)), MOVES, strict=True):
        np.testing.assert_allclose(found @ astray, np.eye(4), atol=1e-9)


def test_marks_picked_by_hand_are_near_enough_for_the_skins_to_meet():
    marks = marked(1.5)
    fits = registered(moved_passes(), starts=placed_by_marks(marks))
    assert max(errors(fits)) < 0.15
    assert all(fit.belongs and fit.overlap > 0.8 for fit in fits)
    assert all(1.0 < each < 5.0 for each in marks_apart(marks, [fit.matrix for fit in fits], [0, 1, 2]))


@pytest.mark.parametrize("radius", [70, 95])
def test_a_pass_of_another_body_is_told_and_spoils_nothing(radius):
    rng = np.random.default_rng(4)
    ways = rng.standard_normal((14_000, 3))
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    ways = ways[ways[:, 1] < 0.2]
    body = ways * (radius + 15 * np.sin(3 * ways[:, :1] + 1) * ways[:, 2:] + 8 * np.sin(5 * ways[:, 2:]))
    marks = [*marked(1.5), {name: np.array(PLACES[name]) * radius / np.linalg.norm(PLACES[name]) for name in "abcdef"}]
    fits = registered([*moved_passes(), body], starts=placed_by_marks(marks))
    assert [fit.belongs for fit in fits] == [True, True, True, False]
    assert max(errors(fits)) < 0.15
    assert fits[3].rms > 10 * max(fit.rms for fit in fits[:3])


def test_a_pass_without_marks_is_placed_by_its_form():
    marks = [*marked(1.5)[:2], {}]
    starts = placed_by_marks(marks)
    assert starts[2] is None
    third = applied(np.linalg.inv(MOVES[2]), moved_passes()[2])  # form alone finds a small turn surely, not any turn
    fits = registered([*moved_passes()[:2], applied(move(5, (2, -3, 1)), third)], starts=starts)
    back = fits[2].matrix @ move(5, (2, -3, 1))
    assert np.linalg.norm(applied(back, third) - third, axis=1).max() < 0.2
    assert max(errors(fits[:2])) < 0.2


@pytest.mark.parametrize(
    ("change", "match"),
    [
        ({0: {}}, "in pass 1, on which"),
        ({1: {"a": np.zeros(3), "b": np.ones(3)}}, "pass 2 shares 2 marked points"),
        ({0: dict.fromkeys("abc", np.zeros(3)), 2: {}}, "pass 2: the matching points lie on one line"),
    ],
)
def test_too_little_is_one_line_that_names_the_pass(change, match):
    marks = [change.get(number, own) for number, own in enumerate(marked(0.0))]
    if len(change) == 1 and 1 in change:
        marks[2] = {}
    with pytest.raises(NotPossible, match=match):
        placed_by_marks(marks)


@pytest.mark.parametrize("squashed", [None, 6])
def test_ten_passes_round_the_body_come_together(squashed):
    """Each turned and moved another way; one of them may be of a body that is another shape."""
    rng = np.random.default_rng(3)
    ways = [(np.cos(turn), np.sin(turn), 0.0) for turn in np.linspace(0, 2 * np.pi, 10, endpoint=False)]
    spots = np.concatenate([lump(40, 100 + number, way)[:3] for number, way in enumerate(ways)])
    astray = [np.eye(4), *(move(20 * k, (9 * k, -7 * k, 5 * k), k) for k in range(1, 10))]
    bodies = [lump(5000, number, way) for number, way in enumerate(ways)]
    if squashed is not None:
        bodies[squashed] = bodies[squashed] * (1.0, 0.85, 1.1)
    marks = [
        {
            str(row): applied(matrix, spot) + 1.5 * rng.standard_normal(3)
            for row, spot in enumerate(spots)
            if spot @ way > 8.0
        }
        for way, matrix in zip(ways, astray, strict=True)
    ]
    passes = [applied(matrix, body) for matrix, body in zip(astray, bodies, strict=True)]
    fits = registered(passes, starts=placed_by_marks(marks))
    assert [number for number, fit in enumerate(fits) if not fit.belongs] == ([] if squashed is None else [squashed])
    for number, (fit, matrix, body) in enumerate(zip(fits, astray, bodies, strict=True)):
        if number != squashed:
            assert np.linalg.norm(applied(fit.matrix @ matrix, body) - body, axis=1).max() < 0.15
