import random
from itertools import combinations

import pytest

from emberline.reports.marks import Flag, Lane, Mark, place_flags

LANE = Lane(low=0.0, high=500.0, rows=4, char_width=5.0, gap=2.0)


def clashes(flags: tuple[Flag, ...]) -> list[tuple[Flag, Flag]]:
    """Find flags that overlap each other, or that another flag's pole runs through."""
    found = []
    for a, b in combinations(flags, 2):
        if a.row < 0 or b.row < 0:
            continue
        overlap = a.row == b.row and a.left < b.right and b.left < a.right
        crossed = (b.row >= a.row and a.left < b.mark.x < a.right) or (a.row >= b.row and b.left < a.mark.x < b.right)
        if overlap or crossed:
            found.append((a, b))
    return found


@pytest.mark.parametrize("seed", range(40))
def test_no_flag_covers_a_flag_or_a_pole(seed: int) -> None:
    chance = random.Random(seed)
    marks = [
        Mark(chance.uniform(0, 500), (f"{i} some name 12:34", f"{i} some name", str(i)), chance.randrange(3))
        for i in range(chance.randrange(1, 40))
    ]
    flags = place_flags(marks, LANE)
    assert [flag.mark for flag in flags] == marks
    assert clashes(flags) == []
    for flag in flags:
        if flag.row >= 0:
            assert flag.text in flag.mark.texts
            assert 0 <= flag.left <= flag.right <= 500
            assert flag.row < LANE.rows


def test_marks_close_together_stand_on_poles_of_different_height() -> None:
    marks = [Mark(x, ("1 lit 0:00", "1"), 0) for x in (100.0, 110.0, 120.0)]
    flags = place_flags(marks, LANE)
    assert [flag.text for flag in flags] == ["1 lit 0:00"] * 3
    assert [flag.row for flag in flags] == [2, 1, 0]


def test_a_name_at_the_right_edge_flies_to_the_left() -> None:
    (flag,) = place_flags([Mark(495.0, ("flameout 21:00",), 0)], LANE)
    assert flag.right < 495.0


def test_main_marks_keep_their_names_among_many_minor_ones() -> None:
    minor = [Mark(10.0 + 4.0 * i, (str(i),), 2) for i in range(110)]
    main = [Mark(x, ("main 12:34", "m"), 0) for x in (40.0, 200.0, 400.0)]
    flags = place_flags([*minor, *main], LANE)
    assert [flag.text for flag in flags[-3:]] == ["main 12:34"] * 3
    assert any(flag.text == "" for flag in flags[:-3])


def test_no_marks_no_flags() -> None:
    assert place_flags([], LANE) == ()
