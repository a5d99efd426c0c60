import json
from dataclasses import replace
from typing import Any

from uncertainties import ufloat

from emberline.bench.channels import Role
from emberline.curves.events import Event, EventKind, Phase, Retraction
from emberline.trials.alarms import AlarmKind
from emberline.trials.estimates import Estimates, Plain
from emberline.trials.forecast import Forecast, NoForecast
from emberline.trials.live_document import (
    HOT_CHAR,
    AlarmShown,
    LiveState,
    LiveValue,
    Recording,
    event_document,
    live_document,
)

S = 1_000_000_000
STATE = LiveState(
    bench="yard",
    now_ns=10_000_000_000,
    recording=Recording.RECORDING,
    link="streaming",
    values={
        Role.WATER: LiveValue(87.25, "c", 9_500_000_000, 14_500_000_000, 1.91),
        Role.MASS: LiveValue(None, "g", 1_000_000_000, 6_000_000_000),
    },
    trial="2025-11-25-1",
    label="chips",
    t_s=452.123,
    followed_s=451.0,
    phase=Phase.FLAMING,
    estimates=Estimates(
        rate_g_min=Plain(7.61, 0.3),
        firepower_w=Plain(1675.2, 220.0),
        burnt_g=Plain(41.0, 3.0),
        boil=Forecast(560.0, 12.0),
        flameout=NoForecast("the plan gives no mass of fuel"),
        progress=0.4217,
    ),
)


def test_each_value_has_its_age_and_whether_it_may_be_shown_as_current() -> None:
    values = live_document(STATE)["values"]
    assert values["water"] == {"value": 87.25, "u": 1.91, "unit": "c", "age_s": 0.5, "stale": False}
    assert values["mass"] == {"value": None, "u": None, "unit": "g", "age_s": 9.0, "stale": True}


def test_forecasts_carry_an_interval_or_a_reason() -> None:
    document = live_document(STATE)
    assert document["boil_forecast"] == {"t_s": 560.0, "u_s": 12.0, "interval_95": [536.5, 583.5]}
    assert document["flameout_forecast"] == {"absent": "the plan gives no mass of fuel"}
    assert document["burning_rate_g_min"] == {"value": 7.61, "u": 0.3}
    assert document["firepower_w"] == {"value": 1675.2, "u": 220.0}
    assert document["progress"] == 0.422


def test_what_was_made_of_readings_that_have_stopped_is_not_told_as_of_now() -> None:
    def told(**t_ns: int) -> dict[str, Any]:
        values = {
            role: LiveValue(20.0, "c", t_ns[role.value], t_ns[role.value] + 5_000_000_000)
            for role in Role
            if role.value in t_ns
        }
        estimates = replace(STATE.estimates, flameout=Forecast(900.0, 30.0))
        return live_document(replace(STATE, now_ns=100 * S, start_ns=10 * S, values=values, estimates=estimates))

    running = told(water=99 * S, flame=99 * S, mass=99 * S)
    assert (running["known_until_s"], running["progress"]) == (None, 0.422)
    assert running["boil_forecast"] == {"t_s": 560.0, "u_s": 12.0, "interval_95": [536.5, 583.5]}
    silent = told(water=60 * S, flame=61 * S, mass=59 * S, ambient=99 * S)
    assert (silent["phase"], silent["known_until_s"], silent["progress"]) == ("flaming", 51.0, None)
    assert silent["boil_forecast"] == {"absent": "not known: the water's readings have stopped"}
    assert silent["flameout_forecast"] == {"absent": "not known: the scale's readings have stopped"}
    part = told(water=99 * S, flame=99 * S, mass=59 * S)
    assert part["known_until_s"] is None
    assert "t_s" in part["boil_forecast"]
    assert "absent" in part["flameout_forecast"]
    assert told(water=60 * S)["known_until_s"] == 50.0


def test_what_has_happened_stays_known_without_readings() -> None:
    past = replace(STATE.estimates, boil=NoForecast("it has boiled"))
    silent = replace(STATE, now_ns=100 * S, start_ns=0, estimates=past)
    assert live_document(silent)["boil_forecast"] == {"absent": "it has boiled"}


def test_an_idle_bench_has_a_document_too() -> None:
    document = live_document(LiveState("yard", 0, Recording.NOT_RECORDING, "looking for the device"))
    assert (document["trial"], document["t_s"], document["phase"]) == (None, None, "waiting")
    assert document["burning_rate_g_min"] is None
    assert document["firepower_w"] is None


def test_documents_are_plain_json() -> None:
    for document in (live_document(STATE), live_document(replace(STATE, trial=None, t_s=None))):
        assert json.loads(json.dumps(document, allow_nan=False)) == document


def test_an_event_and_its_retraction() -> None:
    event = Event(EventKind.POT_ON, 188.04, 1.25, "load rose", ufloat(812.345, 0.2), announced_t_s=196.0)
    document = event_document("yard", "t", event)
    assert (document["kind"], document["t_s"], document["size_g"], document["retracted"]) == (
        "pot_on",
        188.04,
        812.35,
        False,
    )
    assert document["revised_t_s"] is None
    revised = event_document("yard", "t", replace(event, size_g=ufloat(809.0, 0.1), revised_t_s=215.0))
    assert (revised["announced_t_s"], revised["revised_t_s"], revised["size_g"]) == (196.0, 215.0, 809.0)
    back = event_document("yard", "t", Retraction(EventKind.FLAMEOUT, 90.0, 120.0, "it burns again"))
    assert (back["kind"], back["retracted"], back["why"]) == ("flameout", True, "it burns again")


def test_at_flameout_the_words_are_of_char_and_carbon_monoxide() -> None:
    assert "Hot char" in HOT_CHAR
    assert "carbon monoxide rises" in HOT_CHAR
    assert "done" not in HOT_CHAR


def test_alarms_are_told_with_all_that_became_of_them() -> None:
    alarm = AlarmShown(AlarmKind.PROBE_OUT, "it fell", 5, acknowledged_ns=9, acknowledged_by="Ada", told=2)
    assert live_document(STATE)["alarms"] == []
    assert live_document(replace(STATE, alarms=(alarm,)))["alarms"] == [
        {
            "kind": "probe_out",
            "title": "The water probe is out of the water",
            "text": "it fell",
            "raised_ns": 5,
            "cleared_ns": None,
            "acknowledged_ns": 9,
            "acknowledged_by": "Ada",
            "told": 2,
        }
    ]


def test_the_water_that_is_left_is_told_where_it_can_be_known() -> None:
    assert live_document(STATE)["water_left_g"] is None
    known = replace(STATE, estimates=Estimates(water_left_g=Plain(380.0, 10.0)))
    assert live_document(known)["water_left_g"] == {"value": 380.0, "u": 10.0}
