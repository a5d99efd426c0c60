from emberline.trials.guide.after import COLD_UNWATCHED_S, COLD_WATCHED_S, MISSING, Warmth, why_not_cold
from emberline.trials.guide.steps import BY_ID

HOUR_NS = 3_600_000_000_000


def test_char_is_not_cold_before_the_flame_is_out() -> None:
    assert "not known to be out" in why_not_cold(Warmth(10 * HOUR_NS))


def test_where_nothing_measures_it_a_day_must_pass() -> None:
    assert "Only 2.0 h smothered" in why_not_cold(Warmth(2 * HOUR_NS, 0, 0))
    assert "24 h" in why_not_cold(Warmth(23 * HOUR_NS, 0, 0))
    assert why_not_cold(Warmth(25 * HOUR_NS, 0, 0)) == ""
    assert COLD_UNWATCHED_S == 24 * 3600.0


def test_a_probe_that_has_come_down_shortens_that_but_to_no_less_than_hours() -> None:
    assert "Only 30 min" in why_not_cold(Warmth(HOUR_NS // 2, 0, 0, flame_c=21.0, air_c=20.0))
    assert "flame probe still shows 60" in why_not_cold(Warmth(5 * HOUR_NS, 0, 0, flame_c=60.0, air_c=20.0))
    assert "load cell still shows 41" in why_not_cold(Warmth(5 * HOUR_NS, 0, 0, flame_c=20.0, cell_c=41.0, air_c=20.0))
    assert why_not_cold(Warmth(4 * HOUR_NS, 0, 0, flame_c=24.0, air_c=20.0)) == ""
    assert COLD_WATCHED_S >= 2 * 3600.0


def test_unsmothered_char_counts_from_the_flame() -> None:
    assert "after the flame" in why_not_cold(Warmth(2 * HOUR_NS, 0))


def test_what_can_be_missing_is_a_step() -> None:
    assert set(MISSING) <= set(BY_ID)
