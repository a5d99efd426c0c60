from dataclasses import replace

import numpy as np
import pytest

from emberline_sim.burn import Bed, Release
from emberline_sim.trial_specs import BurnSpec, FormName, FuelSpec, RefuelSpec

DT_S = 0.5
PELLETS = FuelSpec("pellets", 300.0, moisture_wet=0.08)


def burn_down(bed: Bed, seconds: float) -> list[Release]:
    return [bed.step(DT_S, 0.0) for _ in range(round(seconds / DT_S))]


def lit_bed(fuel: FuelSpec = PELLETS, burn: BurnSpec | None = None, seed: int = 1) -> Bed:
    bed = Bed(fuel, burn or BurnSpec(), np.random.default_rng(seed))
    bed.light()
    return bed


def test_nothing_burns_before_it_is_lit() -> None:
    bed = Bed(PELLETS, BurnSpec(), np.random.default_rng(1))
    assert all(release.mass_g == 0.0 and not release.flame for release in burn_down(bed, 60.0))
    assert bed.fuel_g == pytest.approx(300.0)


@pytest.mark.parametrize("form", ["pellets", "chips", "sticks", "pieces"])
def test_mass_and_energy_are_conserved(form: FormName) -> None:
    fuel = FuelSpec(form, 180.0, moisture_wet=0.14, starter_g=4.0)
    bed = lit_bed(fuel)
    mass_g, heat_j = bed.fuel_g + bed.starter_g, bed.stored_j
    released = burn_down(bed, 600.0)
    bed.add(RefuelSpec(0.0, 60.0, moisture_wet=0.2))
    added_g, added_j = 60.0, bed.stored_j
    later = burn_down(bed, 2400.0)
    assert sum(r.mass_g for r in released + later) + bed.fuel_g + bed.starter_g == pytest.approx(mass_g + added_g)
    assert sum(r.heat_j for r in later) + bed.stored_j == pytest.approx(added_j)
    assert sum(r.heat_j for r in released) < heat_j


def test_heat_released_is_the_volatiles_and_the_chars() -> None:
    bed = lit_bed(replace(PELLETS, starter_g=0.0))
    before_j = bed.stored_j
    as_fired_j = 300.0 * (0.92 * PELLETS.lhv_dry_j_g - 2443.0 * 0.08)
    assert before_j == pytest.approx(as_fired_j)
    released = burn_down(bed, 5000.0)
    assert bed.raw_g == pytest.approx(0.0, abs=1e-6)
    volatiles_j = sum(r.volatiles_j for r in released)
    char_j = sum(r.char_j for r in released)
    assert volatiles_j + char_j == pytest.approx(as_fired_j - bed.char_g * PELLETS.char_lhv_j_g, rel=1e-6)


def test_char_yield_is_kept_when_char_does_not_burn() -> None:
    bed = lit_bed(FuelSpec("chips", 150.0, moisture_wet=0.1, char_yield=0.19), BurnSpec(char_factor=0.0))
    burn_down(bed, 3000.0)
    assert bed.fuel_g / (0.9 * 150.0) == pytest.approx(0.19, rel=1e-3)


def test_ash_stays_when_the_char_has_burnt() -> None:
    fuel = FuelSpec("chips", 150.0, moisture_wet=0.1, ash_fraction=0.02)
    bed = lit_bed(fuel, BurnSpec(char_factor=20.0))
    burn_down(bed, 9000.0)
    assert bed.fuel_g == pytest.approx(0.02 * 0.9 * 150.0, rel=1e-3)


def test_flame_goes_out_below_the_extinction_level_and_char_goes_on() -> None:
    burn = BurnSpec(extinction=0.1)
    bed = lit_bed(burn=burn)
    released = burn_down(bed, 4000.0)
    last = max(i for i, r in enumerate(released) if r.flame)
    power_w = released[last].volatiles_j / DT_S
    assert power_w == pytest.approx(0.1 * bed.nominal_power_w, rel=0.05)
    after = released[last + 120 :]
    assert all(r.char_g > 0.0 and r.flame_j == 0.0 for r in after)
    assert after[0].char_g > after[-1].char_g


def test_refuel_lays_the_flame_down_and_it_comes_back() -> None:
    bed = lit_bed(FuelSpec("chips", 220.0))
    before = burn_down(bed, 600.0)[-1]
    bed.add(RefuelSpec(0.0, 60.0, dip=0.06))
    after = burn_down(bed, 240.0)
    lowest = min(r.volatiles_g for r in after)
    assert lowest < 0.25 * before.volatiles_g
    assert sum(r.volatiles_g < 0.3 * before.volatiles_g for r in after) * DT_S < 60.0
    assert after[-1].volatiles_g > 0.7 * before.volatiles_g


def test_a_smothered_bed_stays_raw_until_it_is_lit_again() -> None:
    bed = lit_bed(burn=BurnSpec(extinction=0.12))
    burn_down(bed, 500.0)
    raw_g = bed.raw_g
    bed.smother()
    assert not burn_down(bed, 240.0)[-1].flame
    assert raw_g - bed.raw_g < 6.0
    bed.relight()
    assert burn_down(bed, 300.0)[-1].flame
    burn_down(bed, 4000.0)
    assert bed.raw_g < 5.0


def test_snuffed_char_loses_nothing_more() -> None:
    bed = lit_bed()
    burn_down(bed, 3600.0)
    bed.snuff()
    left_g = bed.fuel_g
    burn_down(bed, 600.0)
    assert bed.fuel_g == left_g


def test_wet_fuel_burns_more_slowly() -> None:
    wet, dry = (lit_bed(FuelSpec("pellets", 300.0, moisture_wet=m)) for m in (0.2, 0.06))
    burn_down(wet, 900.0)
    burn_down(dry, 900.0)
    assert wet.raw_g > dry.raw_g + 15.0


def test_pellets_end_sharply_and_pieces_tail_off() -> None:
    def tail_s(form: FormName, mass_g: float) -> float:
        rates = np.array([r.volatiles_g for r in burn_down(lit_bed(FuelSpec(form, mass_g)), 4000.0)])
        level = np.median(rates[rates > 0.5 * rates.max()])
        last_full = np.flatnonzero(rates > 0.8 * level)[-1]
        last_low = np.flatnonzero(rates > 0.15 * level)[-1]
        return float(last_low - last_full) * DT_S

    assert tail_s("pellets", 250.0) < 210.0
    assert tail_s("pieces", 250.0) > 1.4 * tail_s("pellets", 250.0)
