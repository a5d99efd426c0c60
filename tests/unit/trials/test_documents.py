import json
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from importlib.resources import files
from typing import Any

import jsonschema
import pytest
from uncertainties import ufloat

import burn_fixture
from burn_fixture import SyntheticBurn
from emberline import __version__
from emberline.bench.plan import Plan, empty_plan
from emberline.curves.events import Event, EventKind, Retraction
from emberline.heat.result import QualityNote
from emberline.heat.results import RESULT_NAMES, Results, compute_results
from emberline.trials.alarms.alarm import PastAlarm
from emberline.trials.calibrating.used import UsedCalibration
from emberline.trials.conditions import Conditions
from emberline.trials.corrections import AddEvent, Correction, Exclude, Log, Undo
from emberline.trials.documents import SUMMARY_SCHEMA, document_json, summary_document

SCHEMA: Mapping[str, Any] = json.loads((files("emberline.trials") / "summary.schema.json").read_text("utf-8"))


@dataclass(frozen=True)
class Analysed:
    """A trial as the documents need it."""

    results: Results
    plan: Plan
    events: tuple[Event, ...]
    trial: str = "2026-11-25-1"
    bench: str = "yard"
    retracted: tuple[Retraction, ...] = ()
    quality: tuple[QualityNote, ...] = field(default_factory=tuple)
    log: Log = ()
    conditions: Conditions = field(default_factory=lambda: Conditions(air_c=18.0, load_wavering_g=0.4))
    alarms: tuple[PastAlarm, ...] = (PastAlarm("flame_long", 812.5, "burns for 3 h", None, 840.25, "Ana"),)
    calibrations: tuple[UsedCalibration, ...] = (UsedCalibration("mass", "mass", 3, "2025-11-20T09:12:40Z", False),)


def analysed() -> Analysed:
    account, events, plan, boiling_point = burn_fixture.usual()
    results = compute_results(account, events, plan, boiling_point)
    retracted = (Retraction(EventKind.FLAMEOUT, 520.0, 545.0, "the flame recovered"),)
    return Analysed(results, plan, events, retracted=retracted, quality=(QualityNote("wind", "Gusts."),))


def bare() -> Analysed:
    results = compute_results(SyntheticBurn(visits=()).account(), (), empty_plan(), burn_fixture.BOILING_POINT)
    return Analysed(results, empty_plan(), ())


def test_the_schema_is_itself_valid() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("make", [analysed, bare])
def test_documents_follow_the_schema(make: Any) -> None:
    jsonschema.Draft202012Validator(SCHEMA).validate(json.loads(document_json(summary_document(make()))))


def test_corrections_are_told_with_who_when_and_why() -> None:
    made = analysed()
    boil = Event(EventKind.BOIL, 401.0, 2.0, "set by Ana: by eye", by_person=True)
    events = tuple(boil if event.kind is EventKind.BOIL else event for event in made.events)
    log = (
        Correction(1, 1_764_072_000_000_000_000, "Ana", "by eye", AddEvent(EventKind.BOIL, 401.0, 2.0)),
        Correction(2, 1_764_072_060_000_000_000, "Ben", "the door stood open", Exclude()),
        Correction(3, 1_764_072_120_000_000_000, "Ben", "", Undo(2)),
    )
    document = summary_document(replace(made, events=events, log=log))
    jsonschema.Draft202012Validator(SCHEMA).validate(json.loads(document_json(document)))
    assert document["corrections"][0] == {
        "number": 1,
        "made": "2025-11-25T12:00:00Z",
        "who": "Ana",
        "why": "by eye",
        "undone_by": None,
        "do": "add",
        "kind": "boil",
        "t_s": 401.0,
        "u_s": 2.0,
    }
    assert document["corrections"][1]["undone_by"] == 3
    assert document["excluded"] is None
    assert [event["correction"] for event in document["events"] if event["by_person"]] == [1]
    excluded = summary_document(replace(made, log=log[:2]))["excluded"]
    assert excluded == {"why": "the door stood open", "who": "Ben", "made": "2025-11-25T12:01:00Z"}


def test_the_schema_knows_every_result_and_event() -> None:
    assert SCHEMA["$defs"]["result_name"]["enum"] == list(RESULT_NAMES)
    assert SCHEMA["$defs"]["event_kind"]["enum"] == [kind.value for kind in EventKind]
    assert SCHEMA["properties"]["schema"]["const"] == SUMMARY_SCHEMA


@pytest.mark.parametrize(
    ("path", "value"),
    [(("schema",), "emberline.summary/2"), (("results", "burn_time", "value"), None), (("events", 0, "kind"), "bang")],
)
def test_the_schema_refuses_what_it_does_not_know(path: tuple[str | int, ...], value: object) -> None:
    document: Any = json.loads(document_json(summary_document(analysed())))
    inner = document
    for key in path[:-1]:
        inner = inner[key]
    inner[path[-1]] = value
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(SCHEMA).validate(document)


def test_a_summary_holds_what_was_found() -> None:
    document = summary_document(analysed())
    assert list(document) == [
        "schema", "trial", "bench", "label", "factors", "software", "conditions", "excluded", "events", "retracted",
        "results", "visits", "phases", "absent", "quality", "alarms", "calibrations", "corrections",
    ]  # fmt: skip
    assert document["software"] == {"version": __version__}
    assert document["alarms"] == [
        {"kind": "flame_long", "t_s": 812.5, "text": "burns for 3 h", "cleared_t_s": None, "acknowledged_t_s": 840.25,
         "acknowledged_by": "Ana"},
    ]  # fmt: skip
    assert document["conditions"] == {
        "air_c": 18.0, "pressure_pa": None, "load_wavering_g": 0.4, "water_rise_k": None, "co_mean_ppm": None,
        "co_highest_ppm": None,
    }  # fmt: skip
    assert (document["label"], document["factors"]) == ("synthetic", {"fuel": "chips"})
    assert document["events"][3] == {
        "kind": "pot_off", "t_s": 700.0, "u_s": 0.5, "announced_t_s": None, "evidence": "step down", "size_g": -852.0,
        "confirmed": True,
        "by_person": False, "correction": None,
    }  # fmt: skip
    assert document["retracted"][0]["retracted_t_s"] == 545.0
    boil = document["results"]["time_to_boil"]
    assert (boil["value"], boil["unit"]) == (360.0, "s")
    assert boil["u"] == pytest.approx((1.5**2 + 0.5**2) ** 0.5)
    assert boil["interval_95"] == pytest.approx([360 - 1.959964 * boil["u"], 360 + 1.959964 * boil["u"]])
    assert boil["budget"] == {"boil": 1.5, "pot_on": -0.5}
    assert document["visits"][0]["water_evaporated"]["value"] == 60.0
    assert set(document["results"]) | set(document["absent"]) == set(RESULT_NAMES)
    assert [note["code"] for note in document["quality"]] == [
        "wind", "char_source", "char_heat_upper", "pot_heat_left_out",
    ]  # fmt: skip


def test_a_note_told_twice_is_written_once() -> None:
    once = analysed()
    twice = replace(once, quality=(*once.quality, *once.results.quality))
    assert document_json(summary_document(twice)) == document_json(summary_document(once))


def test_what_is_not_known_is_null() -> None:
    document = summary_document(bare())
    assert document["label"] is None
    assert document["results"] == {}
    assert document["visits"] == []


def test_the_same_analysis_gives_the_same_bytes() -> None:
    assert document_json(summary_document(analysed())) == document_json(summary_document(analysed()))
    assert document_json(summary_document(analysed())).endswith("}\n")


def test_numbers_that_differ_in_the_last_bits_are_written_alike() -> None:
    one = analysed()
    events = (replace(one.events[0], t_s=60.000000000001, size_g=ufloat(1.0, 0.1)), *one.events[1:])
    assert summary_document(replace(one, events=events))["events"][0]["t_s"] == 60.0


def test_a_number_that_json_cannot_say_is_refused() -> None:
    with pytest.raises(ValueError, match="JSON"):
        document_json({"value": float("nan")})


def test_the_calibrations_of_a_record_are_told() -> None:
    assert summary_document(analysed())["calibrations"] == [
        {"channel": "mass", "kind": "mass", "number": 3, "made": "2025-11-20T09:12:40Z", "later": False}
    ]
