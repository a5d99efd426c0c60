import pytest
from uncertainties import ufloat

from emberline.bench.fuels import heat_of_volatiles
from emberline.heat.combustion import (
    ASH_FREE_CHAR_LHV_J_G,
    Charge,
    char_lhv_from_ash_j_g,
    charge_of,
    efficiency,
    equivalent_dry_fuel_g,
    heat_per_gram_lost_j_g,
    net_energy_j,
)
from emberline.heat.errors import AbsentError

LHV = ufloat(18_400.0, 300.0)
CHAR_LHV = ufloat(29_500.0, 1500.0)


def equivalent(moist_g: float, moisture: float, char_g: float) -> float:
    return float(
        equivalent_dry_fuel_g(
            moist_g, moisture, char_g, lhv_dry_j_g=18_400.0, char_lhv_j_g=29_500.0, air_c=20.0, boiling_c=100.0
        )
    )


def test_charge_sums_moist_and_dry_parts() -> None:
    charge = charge_of([(200.0, 0.10), (100.0, 0.40), (0.0, 0.2)])
    assert charge.moist_g == 300.0
    assert charge.moisture_wet == pytest.approx(0.20)
    assert charge.dry_g == pytest.approx(240.0)
    separate = sum(m * (18_400.0 * (1 - w) - 2443.0 * w) for m, w in [(200.0, 0.10), (100.0, 0.40)])
    assert charge.energy_j(18_400.0) == pytest.approx(separate)


def test_charge_takes_unburnt_fuel_back() -> None:
    assert Charge(300.0, 0.1).less(30.0) == Charge(270.0, 0.1)
    with pytest.raises(AbsentError, match="unburnt"):
        Charge(300.0, 0.1).less(300.0)


def test_charge_of_nothing_is_refused() -> None:
    with pytest.raises(AbsentError, match=r"fuel\.mass_g"):
        charge_of([])


def test_dry_fuel_without_char_or_moisture_is_all_equivalent() -> None:
    assert equivalent(300.0, 0.0, 0.0) == 300.0


@pytest.mark.parametrize(("moist_g", "moisture", "char_g"), [(100.0, 0.1, 60.0), (100.0, 0.95, 0.0), (0.0, 0.1, 0.0)])
def test_equivalent_dry_fuel_is_never_negative(moist_g: float, moisture: float, char_g: float) -> None:
    with pytest.raises(AbsentError):
        equivalent(moist_g, moisture, char_g)


@pytest.mark.parametrize("char_j", [5e6, 6e6])
def test_char_cannot_hold_as_much_as_the_fuel(char_j: float) -> None:
    with pytest.raises(AbsentError, match="unburnt"):
        net_energy_j(5e6, char_j)


def test_heat_per_gram_lost_is_the_heat_of_volatiles() -> None:
    # 300 g with 11 % of moisture that leave a fifth of their dry mass: 13,207 J/g worked by hand.
    charge = Charge(ufloat(300.0, 0.5), ufloat(0.11, 0.005))
    heat = heat_per_gram_lost_j_g(charge, 0.2 * charge.dry_g, LHV, CHAR_LHV)
    assert heat.nominal_value == pytest.approx(13_207.0, abs=0.5)
    assert heat.nominal_value == pytest.approx(heat_of_volatiles(18_400.0, 29_500.0, 0.11, 0.2))


def test_heat_per_gram_lost_closes_the_energy_balance() -> None:
    charge = charge_of([(200.0, 0.10), (100.0, 0.25)])
    char_g = 40.0
    heat = heat_per_gram_lost_j_g(charge, char_g, LHV, CHAR_LHV)
    released = heat * (charge.moist_g - char_g)
    balance = charge.energy_j(LHV) - char_g * CHAR_LHV
    assert released.nominal_value == pytest.approx(balance.nominal_value)
    assert (released - balance).std_dev == pytest.approx(0.0, abs=1e-6)


def test_heat_per_gram_lost_refuses_more_char_than_fuel() -> None:
    # A char of so low a heating value that only its mass betrays it.
    with pytest.raises(AbsentError, match="as much is left"):
        heat_per_gram_lost_j_g(Charge(100.0, 0.1), 101.0, LHV, ufloat(10_000.0, 500.0))


def test_ash_lowers_the_heating_value_of_char() -> None:
    # Charcoal list of T. Miles ("What Factors Influence Charcoal Quality"): oak char with 17 % of ash 23.1 kJ/g, field
    # charcoal with 7.4 % 25.7 net, pine with 0.3 % 31.1. Ours lies above the two poor ones, which hold volatiles too.
    combustible = ufloat(*ASH_FREE_CHAR_LHV_J_G)
    pine = char_lhv_from_ash_j_g(0.003 * 0.2, 0.2, combustible)
    assert pine.nominal_value == pytest.approx(31_100.0, rel=0.05)
    tenth = char_lhv_from_ash_j_g(0.10 * 0.2, 0.2, combustible)
    assert tenth.nominal_value == pytest.approx(29_500.0, rel=0.02)
    with pytest.raises(AbsentError, match="ash"):
        char_lhv_from_ash_j_g(0.2, 0.2, combustible)


@pytest.mark.parametrize(("useful_j", "spent_j"), [(1.0, 0.0), (1.0, -5.0), (0.0, 5.0), (-1.0, 5.0), (6.0, 5.0)])
def test_impossible_efficiencies_are_refused(useful_j: float, spent_j: float) -> None:
    with pytest.raises(AbsentError):
        efficiency(useful_j, spent_j)


def test_efficiency_keeps_what_both_sides_share() -> None:
    mass = ufloat(500.0, 25.0)
    assert efficiency(mass * 300.0, mass * 900.0).std_dev == pytest.approx(0.0, abs=1e-12)
