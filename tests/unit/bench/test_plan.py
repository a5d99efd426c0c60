import pytest
from uncertainties import UFloat

from emberline.bench.plan import Plan, PlanError, empty_plan, parse_plan

FULL = """\
format = 1
label = "beech cubes, tall riser, second burn"
factors = { fuel = "beech cubes", riser_mm = 140 }

[fuel]
mass_g = 285.0
u_mass_g = 1.5
moisture_dry = 0.12
hhv_dry_j_g = 19800.0
hydrogen_fraction = 0.061
char_lhv_j_g = 30200.0
starter_g = 4.0
starter_lhv_j_g = 25300.0
lot = "beech-a"
kindling_g = 12.0
kindling_moisture_wet = 0.08
ash_fraction = 0.006
char_left_g = 41.0
unburnt_g = 0.0
char_snuffed_s = 90.0

[pot]
tare_g = 388.0
water_g = 750.0
lid = true
lid_g = 95.0
material = "steel"
water_start_c = 14.5
final_water_g = 702.0
final_water_delay_s = 120.0
[[pot.visit]]
final_water_g = 690.0
[[pot.visit]]
water_g = 800.0

[place]
altitude_m = 620.0
pressure_pa = 94100.0
ambient_c = 11.0

[[refuel]]
mass_g = 55.0
[[refuel]]
mass_g = 60.0
moisture_wet = 0.2
lot = "spruce-b"
"""


def problems(text: str) -> list[str]:
    with pytest.raises(PlanError) as caught:
        parse_plan(text)
    return [str(problem) for problem in caught.value.problems]


def n(number: UFloat | None) -> float:
    assert number is not None
    return float(number.nominal_value)


def s(number: UFloat | None) -> float:
    assert number is not None
    return float(number.std_dev)


def tags(number: UFloat | None) -> list[str]:
    assert number is not None
    return sorted(variable.tag for variable in number.error_components())


def test_everything_a_person_may_say_arrives() -> None:
    plan = parse_plan(FULL)
    assert plan.label == "beech cubes, tall riser, second burn"
    assert dict(plan.factors) == {"fuel": "beech cubes", "riser_mm": "140"}
    fuel = plan.fuel
    assert (n(fuel.mass_g), s(fuel.mass_g)) == (285.0, 1.5)
    assert n(fuel.moisture_wet) == pytest.approx(0.12 / 1.12)
    assert tags(fuel.moisture_wet) == ["fuel.moisture_dry"]
    assert n(fuel.lhv_dry_j_g) == pytest.approx(19_800.0 - 21_220.0 * 0.061 - 80.0 * 0.43)
    assert tags(fuel.lhv_dry_j_g) == ["fuel.hhv_dry_j_g", "fuel.hydrogen_fraction"]
    assert (n(fuel.char_lhv_j_g), n(fuel.starter_g), n(fuel.starter_lhv_j_g)) == (30_200.0, 4.0, 25_300.0)
    assert (fuel.lot, n(fuel.kindling_g), n(fuel.kindling_moisture_wet)) == ("beech-a", 12.0, 0.08)
    assert (n(fuel.ash_fraction), n(fuel.char_left_g), n(fuel.unburnt_g)) == (0.006, 41.0, 0.0)
    assert n(fuel.char_snuffed_s) == 90.0
    pot = plan.pot
    assert pot is not None
    assert (n(pot.tare_g), pot.lid, n(pot.lid_g), n(pot.water_start_c)) == (388.0, True, 95.0, 14.5)
    assert n(pot.heat_capacity_j_k) == pytest.approx(194.0)
    assert tags(pot.heat_capacity_j_k) == ["pot.material", "pot.tare_g"]
    place = plan.place
    assert (n(place.altitude_m), n(place.pressure_pa), n(place.ambient_c)) == (620.0, 94_100.0, 11.0)
    assert [n(refuel.mass_g) for refuel in plan.refuels] == [55.0, 60.0]
    assert plan.refuels[0].moisture_wet is None
    assert (n(plan.refuels[1].moisture_wet), plan.refuels[1].lot) == (0.2, "spruce-b")
    assert tags(plan.refuels[1].mass_g) == ["refuel.2.mass_g"]


def test_the_pot_s_values_serve_every_visit_that_has_none_of_its_own() -> None:
    pot = parse_plan(FULL).pot
    assert pot is not None
    first, second, third = (pot.visit(index) for index in range(3))
    assert (n(first.water_g), n(first.final_water_g)) == (750.0, 690.0)
    assert (n(second.water_g), n(second.final_water_g)) == (800.0, 702.0)
    assert (n(third.water_g), n(third.final_water_g)) == (750.0, 702.0)
    assert first.final_water_delay_s is third.final_water_delay_s
    assert tags(first.final_water_g) == ["pot.visit.1.final_water_g"]
    assert tags(third.final_water_g) == ["pot.final_water_g"]


def test_who_says_nothing_gets_nothing() -> None:
    for plan in (empty_plan(), parse_plan(""), Plan()):
        assert plan.label is None
        assert dict(plan.factors) == {}
        assert plan.fuel.mass_g is None
        assert plan.pot is None
        assert plan.place.altitude_m is None
        assert plan.refuels == ()


def test_usual_uncertainties_are_assumed() -> None:
    fuel = parse_plan("[fuel]\nmass_g = 310\nmoisture_wet = 0.11\nlhv_dry_j_g = 18400").fuel
    assert (s(fuel.mass_g), s(fuel.moisture_wet)) == (0.5, 0.01)
    assert s(fuel.lhv_dry_j_g) == pytest.approx(368.0)


def test_hydrogen_is_assumed_for_a_gross_value() -> None:
    lhv = parse_plan("[fuel]\nhhv_dry_j_g = 20000").fuel.lhv_dry_j_g
    assert n(lhv) == pytest.approx(20_000.0 - 1_273.2 - 34.4)
    assert tags(lhv) == ["fuel.hhv_dry_j_g", "fuel.hydrogen_fraction"]


def test_a_value_as_fired_is_turned_dry_with_the_fuel_s_moisture() -> None:
    lhv = parse_plan("[fuel]\nlhv_as_fired_j_g = 17001.5\nmoisture_wet = 0.08").fuel.lhv_dry_j_g
    assert n(lhv) == pytest.approx(18_692.3, abs=0.5)
    assert tags(lhv) == ["fuel.lhv_as_fired_j_g", "fuel.moisture_wet"]


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("[fuel]\nmoisture_wet = 11", "line 2: moisture_wet = 11 is outside 0 to 0.7: a percentage? write 0.11"),
        ("[fuel]\nlhv_dry_j_g = 18.4", "line 2: lhv_dry_j_g = 18.4 is outside 5000 to 45000 J/g: MJ/kg?"),
        ("[fuel]\nlhv_dry_j_g = 4400", "line 2: lhv_dry_j_g = 4400 is outside 5000 to 45000 J/g: kcal/kg?"),
        ("[fuel]\nmass_g = 0.31", "line 2: mass_g = 0.31 is outside 1 to 20000 g: kilograms?"),
        ("[place]\npressure_pa = 1013", "line 2: pressure_pa = 1013 is outside 45000 to 110000 Pa: hPa (mbar)?"),
        ("[place]\npressure_pa = 98.2", "line 2: pressure_pa = 98.2 is outside 45000 to 110000 Pa: kPa?"),
        ("[place]\nambient_c = 68", "line 2: ambient_c = 68 is outside -40 to 55 degC: degrees Fahrenheit?"),
        ("[place]\nambient_c = 291", "line 2: ambient_c = 291 is outside -40 to 55 degC: kelvin?"),
        ("[fuel]\nmoisture = 0.1", "line 2: unknown key moisture in [fuel]; did you mean moisture_"),
        ("[feul]\nmass_g = 300", "line 1: unknown key feul; did you mean fuel?"),
        ("[[pot.visit]]\nwater = 500", "line 2: unknown key water in [pot.visit]; did you mean water_g?"),
        ("[[refuel]]\nmass = 50", "line 2: unknown key mass in [refuel]; did you mean mass_g?"),
        ("[pot]\nmaterial = 'tin'\ntare_g = 400", "line 2: material must be one of steel"),
        ("[pot]\nmaterial = 'steel'", "line 2: material needs tare_g"),
        (
            "[pot]\ntare_g = 400\nmaterial = 'steel'\nheat_capacity_j_k = 200",
            "line 3: heat_capacity_j_k and material say the same thing",
        ),
        ("[fuel]\nmoisture_wet = 0.1\nmoisture_dry = 0.1", "line 3: moisture_wet and moisture_dry say the same thing"),
        (
            "[fuel]\nlhv_dry_j_g = 18000\nhhv_dry_j_g = 19000",
            "line 3: lhv_dry_j_g and hhv_dry_j_g say the same thing",
        ),
        ("[fuel]\nhydrogen_fraction = 0.06", "line 2: hydrogen_fraction is only used with hhv_dry_j_g"),
        ("[fuel]\nlhv_as_fired_j_g = 17000", "line 2: lhv_as_fired_j_g needs the fuel's moisture_wet"),
        ("[pot]\nwater_g = 500\nfinal_water_g = 880", "line 3: 880 g of water left of 500 g: was the pot's tare_g"),
        (
            "[fuel]\nmass_g = 300\nkindling_g = 10\nchar_left_g = 350\n",
            "line 4: char_left_g = 350 g is more than the 310 g put in",
        ),
        ("format = 3", "line 1: format 3 is not known"),
    ],
)
def test_slips_are_refused_with_their_line_and_a_hint(text: str, problem: str) -> None:
    found = problems(text)
    assert len(found) == 1, found
    assert found[0].startswith(problem)


def test_every_slip_is_listed_at_once_in_order() -> None:
    text = "label = 5\n[place]\npressure_pa = 1013\n[fuel]\nmass_g = -3\nmoisture_wet = 20\n"
    assert [line.split(":")[0] for line in problems(text)] == ["line 1", "line 3", "line 5", "line 6"]


def test_refuels_count_as_fuel_put_in() -> None:
    plan = parse_plan("[fuel]\nmass_g = 100\nunburnt_g = 120\n[[refuel]]\nmass_g = 50")
    assert n(plan.fuel.unburnt_g) == 120.0


def test_a_pot_that_gave_off_nothing_may_read_a_gram_more_afterwards() -> None:
    plan = parse_plan("[pot]\nwater_g = 908.3\nfinal_water_g = 909.5\n")
    assert plan.pot is not None
    assert plan.pot.every.final_water_g is not None
    assert plan.pot.every.final_water_g.n == 909.5
    with pytest.raises(PlanError, match="was the pot's tare_g not taken off"):
        parse_plan("[pot]\nwater_g = 908.3\nfinal_water_g = 915.0\n")


def test_what_the_load_cell_was_asked() -> None:
    plan = parse_plan(
        "[load_cell]\nknown_g = 500\nshown_g = 499.6\nu_shown_g = 0.1\nzero_drift_g = -0.8\nzero_drift_s = 3900"
    )
    cell = plan.load_cell
    assert cell.known_g is not None
    assert (cell.known_g.n, cell.known_g.s) == (500.0, 0.05)
    assert cell.shown_g is not None
    assert (cell.shown_g.s, next(iter(cell.shown_g.derivatives)).tag) == (0.1, "load_cell.shown_g")
    assert cell.zero_drift_g is not None
    assert cell.zero_drift_g.n == -0.8


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("shown_g = 500", "needs known_g"),
        ("known_g = 500\nshown_after_g = 530", "calibrate the load cell anew"),
        ("zero_drift_g = 1", "belong together"),
        ("zero_drift_s = 3600", "belong together"),
    ],
)
def test_what_a_load_cell_cannot_have_said_is_refused(text: str, words: str) -> None:
    with pytest.raises(PlanError, match=words):
        parse_plan("[load_cell]\n" + text)


def test_a_run_belongs_to_a_series() -> None:
    plan = parse_plan('series = "holes-1"\nrun = 3\n')
    assert (plan.series, plan.run) == ("holes-1", 3)


@pytest.mark.parametrize("text", ["run = 3\n", 'series = "holes-1"\n'])
def test_a_run_without_its_series_is_refused(text: str) -> None:
    with pytest.raises(PlanError, match="series and run go together"):
        parse_plan(text)


@pytest.mark.parametrize(("run", "why"), [("0", "outside 1 to 1000"), ("1.5", "whole number")])
def test_a_run_is_a_whole_number_from_one(run: str, why: str) -> None:
    with pytest.raises(PlanError, match=why):
        parse_plan(f'series = "holes-1"\nrun = {run}\n')
