import numpy as np
import pytest

from emberline.links.table_order import ordered
from emberline.links.table_time import TimeColumn


def column(seconds: list[float]) -> TimeColumn:
    t_ns = np.array([round(one * 1e9) for one in seconds], dtype=np.int64)
    return TimeColumn(t_ns, np.ones(len(t_ns), dtype=np.bool_), False, ())


def test_order_is_kept_where_it_is_right() -> None:
    rows, counts = ordered(column([0, 1, 1, 2]))
    assert rows.tolist() == [0, 1, 2, 3]
    assert not +counts


def test_rows_out_of_order_are_sorted_and_counted_and_equal_times_keep_their_order() -> None:
    rows, counts = ordered(column([0, 2, 1, 3, 3, 5, 4]))
    assert rows.tolist() == [0, 2, 1, 3, 4, 6, 5]
    assert +counts == {"row out of order (sorted)": 2}


def test_a_fully_shuffled_record_is_sorted_whole() -> None:
    rng = np.random.default_rng(3)
    order = rng.permutation(500)
    rows, _ = ordered(column(order.astype(float).tolist()))
    assert np.array_equal(order[rows], np.arange(500))


@pytest.mark.parametrize("stray", [9.2e9, -9.2e9, 3.0e5])
def test_a_stray_clock_does_not_stretch_the_burn(stray: float) -> None:
    rows, counts = ordered(column([stray, *range(100), stray]))
    assert rows.tolist() == list(range(1, 101))
    assert +counts == {"row more than a day from the rest": 2}


def test_after_a_restart_of_the_logger_the_longest_run_is_kept() -> None:
    rows, counts = ordered(column([*range(50), *range(300), *range(100)]))
    assert rows.tolist() == list(range(50, 350))
    assert +counts == {"row before or after a restart of the clock": 150}


def test_a_few_late_rows_are_no_restart() -> None:
    rows, counts = ordered(column([*range(10, 300), *range(10)]))
    assert len(rows) == 300
    assert +counts == {"row out of order (sorted)": 1}


def test_rows_without_a_time_are_left_out() -> None:
    one = column([0, 1, 2])
    rows, _ = ordered(TimeColumn(one.t_ns, np.array([True, False, True]), False, ()))
    assert rows.tolist() == [0, 2]
    rows, counts = ordered(TimeColumn(one.t_ns, np.zeros(3, dtype=np.bool_), False, ()))
    assert not len(rows)
    assert not +counts
