from emberline.bench.plan import empty_plan, parse_plan
from emberline.reports.facts import facts
from unit.reports.made_up_burn import PLAN


def told(text: str) -> dict[str, str]:
    return {
        term: "; ".join(statements).replace("\N{NO-BREAK SPACE}", " ") for term, statements in facts(parse_plan(text))
    }


def test_an_empty_plan_says_nothing() -> None:
    assert facts(empty_plan()) == []


def test_a_plan_is_told_with_its_uncertainties() -> None:
    said = told(PLAN)
    assert (
        said["Fuel"] == "280.0 ± 1.0 g as weighed; moisture 10.0 ± 2.0 % (wet basis); starter 4.0 ± 1.0 g; lot beech-b"
    )
    assert said["Refuels"] == "60.0 ± 1.0 g"
    assert said["Pot"] == "empty 365.0 ± 1.0 g; water 600.0 ± 1.0 g; without lid"
    assert said["Place"] == "altitude 410 ± 40 m; air 16.0 ± 1.0 °C"
    assert "Weighed afterwards" not in said


def test_what_was_weighed_afterwards_and_single_visits_are_told() -> None:
    said = told(
        """
        [fuel]
        mass_g = 200
        char_left_g = 31.0
        char_snuffed_s = 150
        unburnt_g = 4
        [pot]
        lid = true
        [[pot.visit]]
        water_g = 500
        final_water_g = 450
        [[pot.visit]]
        water_g = 700
        [place]
        pressure_pa = 96500
        [[refuel]]
        """
    )
    assert (
        said["Weighed afterwards"] == "char 31.0 ± 1.0 g, smothered 2 min 30 s after flameout; unburnt fuel 4.0 ± 1.0 g"
    )
    assert said["Pot"] == "visit 1: water 500.0 ± 1.0 g, left 450.0 ± 1.0 g; visit 2: water 700.0 ± 1.0 g; with lid"
    assert said["Place"] == "air pressure 965 ± 4 hPa"
    assert said["Refuels"] == "not weighed"


def test_what_the_load_cell_was_asked_is_told() -> None:
    said = told(
        """
        [load_cell]
        known_g = 500
        shown_g = 499.4
        shown_after_g = 500.2
        zero_drift_g = -0.8
        zero_drift_s = 3900
        """
    )
    assert said["Load cell"].split("; ") == [
        "500.00 ± 0.10 g shown as 499.4 ± 0.6 g before the burn",
        "500.00 ± 0.10 g shown as 500.2 ± 0.6 g after the burn",
        "its zero moved by −0.8 ± 0.6 g in 1 h 5 min",
    ]
