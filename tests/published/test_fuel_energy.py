"""Heating values and moisture bases against ISO 18125, the Water Boiling Test and the definitions."""

import pytest

from emberline.bench import fuels


def test_net_calorific_value_of_dry_fuel() -> None:
    # ISO 18125:2017, q_net,d = q_gr,d - 212.2 H - 0.8 (O + N), J/g and percent; equation from memory, example ours:
    # 20 000 J/g with 6.0 % H, 43 % O and 0.1 % N.
    assert fuels.lhv_dry_from_hhv(20_000.0, 0.060, 0.431) == pytest.approx(18_692.3, abs=0.1)


@pytest.mark.parametrize(
    ("moisture_wet", "expected"), [(0.0, 18_692.3), (0.08, 17_001.5), (0.20, 14_465.2), (0.50, 8_124.7)]
)
def test_net_calorific_value_as_fired(moisture_wet: float, expected: float) -> None:
    # ISO 18125:2017, q_net,ar = q_net,d (1 - M/100) - 24.43 M; equation from memory, examples ours.
    assert fuels.lhv_as_fired(18_692.32, moisture_wet) == pytest.approx(expected, abs=0.2)


def test_gross_and_net_value_of_dry_wood_differ_by_the_water_test_s_figure() -> None:
    # Water Boiling Test 4.2.3: 1.32 MJ/kg for wood with 6 % of hydrogen (from memory).
    assert 20_000.0 - fuels.lhv_dry_from_hhv(20_000.0, 0.06) == pytest.approx(1_320.0, abs=15.0)


@pytest.mark.parametrize(("dry", "wet"), [(0.10, 0.0909), (0.20, 0.1667), (0.25, 0.20), (1.0, 0.5), (0.0, 0.0)])
def test_moisture_bases(dry: float, wet: float) -> None:
    # Definitions, as in ISO 18134 and ISO 16993.
    assert fuels.wet_from_dry(dry) == pytest.approx(wet, abs=5e-5)
    assert fuels.dry_from_wet(fuels.wet_from_dry(dry)) == pytest.approx(dry)


def test_air_dry_wood_lies_in_the_published_range() -> None:
    # 2006 IPCC guidelines, vol. 2, default net value of wood: 15.6 MJ/kg, air dry, taken as 13.5 % moisture.
    assert fuels.lhv_as_fired(fuels.DEFAULT_LHV_DRY_J_G[0], 0.135) == pytest.approx(15_600.0, rel=0.02)


def test_dry_wood_default_covers_published_heating_values() -> None:
    # Pinus wood, mean 19.13 MJ/kg net and dry: Energies 15(4) 1442 (2022), appendix A. Ash, elm and tallow, 17.6 to
    # 18.7 MJ/kg gross: Texas A&M Forest Service, tables 1 and 2.
    value, u = fuels.DEFAULT_LHV_DRY_J_G
    published = [19_130.0, *(fuels.lhv_dry_from_hhv(gross, 0.06) for gross in (18_700.0, 17_900.0, 18_100.0, 17_600.0))]
    assert min(published) > value - 4.0 * u
    assert max(published) < value + 2.0 * u
    assert sum(published) / len(published) == pytest.approx(value, abs=2.0 * u)


def test_ethanol_starter_holds_a_hundred_kilojoules_in_five_millilitres() -> None:
    # Net value of ethanol 26.8 MJ/kg, density 0.789 kg/L (handbook values).
    assert 5.0 * 0.789 * fuels.DEFAULT_STARTER_LHV_J_G[0] == pytest.approx(106_000.0, rel=0.01)
    spirit = 0.95 * 26_800.0 - 0.05 * fuels.LATENT_HEAT_25_J_G
    value, u = fuels.DEFAULT_STARTER_LHV_J_G
    assert abs(spirit - value) < 2.0 * u
