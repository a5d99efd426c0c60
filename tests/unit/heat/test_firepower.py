import pytest
from uncertainties import ufloat

from emberline.bench.plan import empty_plan, parse_plan
from emberline.curves.events import Phase
from emberline.heat.firepower import ASSUMED_CHAR_YIELD, char_lhv_j_g, live_firepower_w

PLAN = parse_plan("""
[fuel]
mass_g = 310.0
moisture_wet = 0.11
u_moisture_wet = 0.01
lhv_dry_j_g = 18400.0
u_lhv_dry_j_g = 200.0
char_lhv_j_g = 29500.0
u_char_lhv_j_g = 500.0
starter_g = 3.0
""")
RATE = ufloat(7.0, 0.3)


def test_it_is_the_rate_times_the_heat_of_what_leaves() -> None:
    power = live_firepower_w(RATE, ufloat(60.0, 2.0), PLAN, Phase.FLAMING)
    assert power is not None
    # By hand: [(1 - 0.11)(18400 - 0.17 * 29500) - 2443 * 0.11] / [1 - 0.89 * 0.17] = 13720 J/g, at 7.0 / 60 g/s.
    assert power.nominal_value == pytest.approx(7.0 / 60.0 * 13720.0, rel=1e-4)
    # In quadrature: rate 4.3 %, course of the burn 15 %; yield, heating values and moisture a few percent.
    assert 0.15 < power.std_dev / power.nominal_value < 0.18


def test_the_starter_burns_first() -> None:
    power = live_firepower_w(RATE, ufloat(1.0, 0.5), PLAN, Phase.KINDLING)
    assert power is not None
    assert power.nominal_value == pytest.approx(7.0 / 60.0 * 26_800.0)
    assert live_firepower_w(RATE, None, PLAN, Phase.KINDLING) is not None


def test_glowing_char_releases_the_heat_of_char() -> None:
    power = live_firepower_w(ufloat(1.2, 0.1), ufloat(250.0, 5.0), PLAN, Phase.CHAR)
    assert power is not None
    assert power.nominal_value == pytest.approx(1.2 / 60.0 * 29_500.0)


@pytest.mark.parametrize("phase", [Phase.WAITING, Phase.ENDED])
def test_without_a_fire_there_is_none(phase: Phase) -> None:
    assert live_firepower_w(RATE, None, PLAN, phase) is None


def test_without_a_plan_it_is_assumed_and_less_sure() -> None:
    known = live_firepower_w(RATE, None, PLAN, Phase.FLAMING)
    assumed = live_firepower_w(RATE, None, empty_plan(), Phase.FLAMING)
    assert known is not None
    assert assumed is not None
    assert assumed.std_dev > known.std_dev
    assert abs(assumed.nominal_value - known.nominal_value) < assumed.std_dev


def test_the_chars_heating_value_follows_its_ash() -> None:
    plan = parse_plan("[fuel]\nash_fraction = 0.017")
    # A tenth of the char is ash then: 32,500 J/g of what burns, less a tenth.
    assert char_lhv_j_g(plan, ufloat(*ASSUMED_CHAR_YIELD)).nominal_value == pytest.approx(0.9 * 32_500.0)
    assert char_lhv_j_g(empty_plan(), ufloat(*ASSUMED_CHAR_YIELD)).nominal_value == 29_500.0
