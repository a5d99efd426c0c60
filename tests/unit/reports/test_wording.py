from emberline.curves.events import EventKind, Phase
from emberline.heat.results import RESULT_NAMES
from emberline.reports.wording import (
    BESIDE,
    BUDGETED,
    EVENTS,
    HEADLINES,
    PHASES,
    RESULTS,
    input_title,
    result_meaning,
    result_title,
)


def test_every_result_event_and_phase_has_its_words() -> None:
    assert set(RESULTS) == set(RESULT_NAMES)
    assert set(EVENTS) == set(EventKind)
    assert set(PHASES) == set(Phase)
    for named in (*HEADLINES, *BUDGETED, *BESIDE, *BESIDE.values()):
        assert named in RESULTS


def test_a_result_that_is_not_known_yet_is_spelled_out() -> None:
    assert result_title("heat_of_steam") == "Heat of steam"
    assert result_meaning("heat_of_steam") == ""


def test_inputs_of_single_visits_and_refuels_share_a_name() -> None:
    assert input_title("refuel.2.mass_g") == input_title("refuel.1.mass_g") == "weight of the refuels"
    assert input_title("pot.visit.3.water_g") == "weight of the water"
    assert input_title("probe.shield_k") == "probe, shield k"
