import pytest
from uncertainties import ufloat

from emberline.bench import fuels
from emberline.bench.errors import OutOfRangeError


def test_moisture_and_heating_value_there_and_back() -> None:
    assert fuels.wet_from_dry(fuels.dry_from_wet(0.13)) == pytest.approx(0.13)
    assert fuels.lhv_dry_from_as_fired(fuels.lhv_as_fired(18_400.0, 0.13), 0.13) == pytest.approx(18_400.0)


def test_uncertainty_passes_through() -> None:
    lhv, moisture = ufloat(18_692.3, 300.0), ufloat(0.08, 0.005)
    as_fired = fuels.lhv_as_fired(lhv, moisture)
    # JCGM 100:2008, 5.1.2: sensitivities 1 - M and -(q_d + 2443).
    assert as_fired.s == pytest.approx(((0.92 * 300.0) ** 2 + (21_135.3 * 0.005) ** 2) ** 0.5)


def test_heat_of_volatiles_closes_the_energy_balance() -> None:
    # Worked example: moist fuel energy less char energy over the mass that left.
    moisture, char_yield, dry, char = 0.11, 0.20, 18_400.0, 29_500.0
    heat = fuels.heat_of_volatiles(dry, char, moisture, char_yield)
    assert heat == pytest.approx(13_207.0, abs=1.0)
    char_g = (1.0 - moisture) * char_yield
    assert heat * (1.0 - char_g) + char * char_g == pytest.approx(fuels.lhv_as_fired(dry, moisture))


def test_a_fuel_that_leaves_no_char_gives_all_its_heat() -> None:
    assert fuels.heat_of_volatiles(18_400.0, 29_500.0, 0.1, 0.0) == pytest.approx(fuels.lhv_as_fired(18_400.0, 0.1))


def test_a_fuel_that_loses_nothing_is_refused() -> None:
    with pytest.raises(OutOfRangeError, match="check the char"):
        fuels.heat_of_volatiles(18_400.0, 29_500.0, 0.0, 1.0)
    with pytest.raises(OutOfRangeError):
        fuels.heat_of_volatiles(ufloat(18_400.0, 300.0), 29_500.0, 0.0, ufloat(1.0, 0.1))


def test_made_up_inputs_carry_their_names() -> None:
    assert fuels.default_hydrogen_fraction().tag == "fuel.hydrogen_fraction"
    steel = fuels.pot_heat_capacity_j_gk("steel")
    assert (steel.n, steel.tag) == (0.50, "pot.material")
    assert steel.s == pytest.approx(0.025)
