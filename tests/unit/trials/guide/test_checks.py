import pytest

from emberline.bench.channels import Role, default_channel
from emberline.trials.guide import checks
from emberline.trials.guide.level import Level

PROBE = default_channel(Role.WATER)
SCALE = default_channel(Role.MASS)


def level(mean_g: float = 0.0, *, at_s: float = 0.0, shakes_g: float = 0.05, drift: float | None = None) -> Level:
    return Level(mean_g, 0.05, int(at_s * 1e9), 30, True, 0.1, shakes_g, drift, None if drift is None else 0.02)


def test_a_calm_warm_cell_has_nothing_said_of_it() -> None:
    assert checks.cell_words(level(drift=0.03)) == []


def test_nothing_is_said_while_somebody_handles_the_scale() -> None:
    assert checks.cell_words(Level(500.0, 9.0, 1, 0, False, 5.0, 90.0)) == []


def test_wind_and_warm_up_are_told_in_words() -> None:
    assert "draught" in checks.cell_words(level(shakes_g=0.6))[0]
    assert "shelter" in checks.cell_words(level(shakes_g=2.0))[0]
    assert "warm up" in checks.cell_words(level(drift=-0.4))[0]
    assert "-0.40 g a minute" in checks.cell_words(level(drift=-0.4))[0]


def test_a_known_mass_is_judged_by_what_the_calibration_allows() -> None:
    words, doubtful = checks.known_words(500.6, 0.1, 500.0, 0.05, SCALE)
    assert not doubtful
    assert "+0.12 %" in words
    words, doubtful = checks.known_words(504.0, 0.1, 500.0, 0.05, SCALE)
    assert doubtful
    assert "Calibrate" in words


def test_a_probe_in_tap_water_that_differs_from_the_air_is_well() -> None:
    assert checks.probe_words(13.5, 19.0, 0.1, None, PROBE) == []
    assert checks.probe_words(13.5, 19.0, 0.1, 14.0, PROBE) == []


@pytest.mark.parametrize(
    ("now_c", "air_c", "spread_c", "typed_c", "words"),
    [
        (None, 19.0, 0.0, None, "reports a fault"),
        (13.5, 19.0, 2.0, None, "wait until it has settled"),
        (80.0, 19.0, 0.1, None, "not what tap water has"),
        (-4.0, 19.0, 0.1, None, "swapped"),
        (19.1, 19.0, 0.1, None, "what it showed in the air"),
        (13.5, 19.0, 0.1, 21.0, "differs from your thermometer by -7.5"),
    ],
)
def test_what_is_odd_about_a_probe_is_told(
    now_c: float | None, air_c: float, spread_c: float, typed_c: float | None, words: str
) -> None:
    (said,) = checks.probe_words(now_c, air_c, spread_c, typed_c, PROBE)
    assert words in said


def test_room_on_the_cell_and_on_the_disk() -> None:
    assert checks.room_words(970.0, 812.0, 5_000.0) == ""
    assert checks.room_words(970.0, 812.0, None) == ""
    assert "larger cell" in checks.room_words(970.0, 812.0, 1_800.0)
    assert checks.disk_words(None) == checks.disk_words(10**9) == ""
    assert "50 MB" in checks.disk_words(50_000_000)


def test_the_zeros_drift_keeps_only_the_errors_of_its_two_looks() -> None:
    values, words = checks.zero_after(level(2.0), level(3.5, at_s=3_600.0), SCALE)
    drift_g, u_g = values["load_cell.zero_drift_g"]
    assert drift_g == pytest.approx(1.5)
    assert 0.05 < u_g < 0.2
    assert values["load_cell.zero_drift_s"][0] == 3_600.0
    assert "+1.5 g in 60 min" in words
