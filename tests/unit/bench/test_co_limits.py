import pytest

from emberline.bench.co_limits import CO_LIMITS, mg_m3_of, ppm_of


def test_each_limit_is_found_by_its_own_name_and_says_where_it_is_written() -> None:
    for name, limit in CO_LIMITS.items():
        assert limit.name == name
        assert limit.title
        assert limit.source
        assert limit.ppm > 0.0
        # Means are made of pieces of ten seconds, and a day is what is remembered.
        assert limit.period_s % 10 == 0
        assert 0 <= limit.period_s <= 86_400


def test_the_two_conversions_undo_each_other_in_any_air() -> None:
    for air_c, pressure_pa in ((25.0, 101_325.0), (-10.0, 70_000.0), (40.0, 103_000.0)):
        assert ppm_of(mg_m3_of(35.0, air_c, pressure_pa), air_c, pressure_pa) == pytest.approx(35.0, rel=1e-12)


def test_thin_and_warm_air_holds_less_of_it() -> None:
    assert mg_m3_of(1.0, pressure_pa=80_000.0) < mg_m3_of(1.0)
    assert mg_m3_of(1.0, air_c=35.0) < mg_m3_of(1.0)
