import pytest

from unit.trials.guide.weighing_table import Table


def test_what_is_put_on_is_shown_about_the_zero() -> None:
    table = Table(1)
    empty = table.wait(10.0)
    loaded = table.put(500.0)
    assert table.load_g == pytest.approx(500.0)
    assert loaded.mean_g - empty.mean_g == pytest.approx(500.0, abs=0.6)


def test_one_seed_gives_one_course() -> None:
    assert Table(3).wait(5.0) == Table(3).wait(5.0)
    assert Table(3).wait(5.0) != Table(4).wait(5.0)
