"""What each form of a trial's page asks for, and how it is refused."""

import pytest

from emberline.curves.events import EventKind
from emberline.store.store import Store
from emberline.trials.corrections import (
    AddEvent,
    Change,
    Correction,
    DeleteEvent,
    EditPlan,
    Exclude,
    Include,
    MoveEvent,
    Target,
    Undo,
)
from emberline.web.corrections_form import FORMS, Refusals, correct, reference, words
from unit.service.test_desk import BOIL, Bench

ANA = {"who": "Ana", "why": "saw it", "seen": "0", "zero_s": "60"}
FOUND = reference(EventKind.BOIL, 100.25, None)
FOUND_TARGET = Target(EventKind.BOIL, 100.25, None, BOIL.announced_t_s)


@pytest.fixture
async def bench(store: Store) -> Bench:
    return Bench(store)


@pytest.mark.parametrize(
    ("form", "typed", "change"),
    [
        ("event", {"event": FOUND, "do": "move", "t": "1:00", "u_s": "2"},
         MoveEvent(FOUND_TARGET, 120.0, 2.0)),
        ("event", {"event": FOUND, "do": "delete", "t": "", "u_s": "x"}, DeleteEvent(FOUND_TARGET)),
        ("new", {"kind": "pot_on", "t": "-0:30", "u_s": "1,5"}, AddEvent(EventKind.POT_ON, 30.0, 1.5)),
        ("remark", {"t": "1:00"}, AddEvent(EventKind.NOTE, 120.0, 1.0)),
        ("weights", {"fuel.char_left_g": " 61,5 "}, EditPlan({"fuel.char_left_g": (None, 61.5)})),
        ("plan", {"plan": 'label = "old"\r\n[fuel]\r\nmass_g = 310.0\r\n[pot]\r\ntare_g = 412.0\r\nwater_g = 499.0'},
         EditPlan({"pot.water_g": (500.0, 499.0)})),
        ("counting", {"do": "exclude"}, Exclude()),
    ],
)  # fmt: skip
async def test_a_form_becomes_one_correction(bench: Bench, form: str, typed: dict[str, str], change: Change) -> None:
    made = await correct(bench.desk, bench.imported(BOIL), form, ANA | typed)
    assert isinstance(made, Correction), made
    assert (made.change, made.who, made.why) == (change, "Ana", "saw it")


async def test_an_exclusion_is_taken_back_and_a_correction_undone(bench: Bench) -> None:
    trial = bench.imported(BOIL)
    await correct(bench.desk, trial, "counting", ANA | {"do": "exclude"})
    included = await correct(bench.desk, trial, "counting", ANA | {"do": "include", "seen": "1"})
    assert isinstance(included, Correction)
    assert included.change == Include()
    undone = await correct(bench.desk, trial, "undo", ANA | {"of": "2", "seen": "2"})
    assert isinstance(undone, Correction)
    assert undone.change == Undo(2)


@pytest.mark.parametrize(
    ("form", "typed", "field", "reason"),
    [
        ("event", {"event": ""}, "event", "choose the event"),
        ("event", {"event": "bang 3"}, "event", "choose what happened"),
        ("event", {"event": "boil x"}, "event", "no number"),
        ("event", {"event": FOUND, "t": "noon"}, "t", "'noon' is no moment"),
        ("event", {"event": FOUND, "t": ""}, "t", "say when"),
        ("event", {"event": FOUND, "t": "99:00"}, "t", "after the record's end"),
        ("event", {"event": FOUND, "t": "1:00", "u_s": "-1"}, "u_s", "between 0.1 and 600 seconds"),
        ("event", {"event": FOUND, "t": "1:00", "why": ""}, "why", "say why"),
        ("event", {"event": FOUND, "t": "1:00", "who": ""}, "who", "say who you are"),
        ("event", {"event": reference(EventKind.BOIL, 100.25, 7), "t": "1:00"}, "", "changed meanwhile"),
        ("new", {"kind": "", "t": "1:00"}, "kind", "choose what happened"),
        ("new", {"kind": "note", "t": "1:00"}, "kind", "a form of its own"),
        ("remark", {"t": "1:00", "why": " "}, "why", "write the remark first"),
        ("weights", {"fuel.char_left_g": "much"}, "fuel.char_left_g", "'much' is no number"),
        ("weights", {"fuel.char_left_g": "4000"}, "fuel.char_left_g", "more than the 310 g put in"),
        ("weights", {}, "", "nothing was changed"),
        ("plan", {"plan": "[fuel]\nmas_g = 5"}, "plan", "did you mean mass_g"),
        ("plan", {"plan": "= ="}, "plan", "not TOML"),
        ("counting", {"do": "include"}, "why", "not excluded"),
        ("undo", {"of": "1"}, "", "no correction 1"),
        ("undo", {"of": "x"}, "", "no number"),
    ],
)
async def test_what_cannot_be_is_refused_at_its_field(
    bench: Bench, form: str, typed: dict[str, str], field: str, reason: str
) -> None:
    trial = bench.imported(BOIL)
    refused = await correct(bench.desk, trial, form, ANA | {"u_s": "1"} | typed)
    assert isinstance(refused, Refusals)
    assert refused.form == form
    assert list(refused.by_field) == [field]
    assert reason in refused.by_field[field]
    assert bench.store.corrections(trial) == []


async def test_each_is_told_in_a_few_words(bench: Bench) -> None:
    trial, told = bench.imported(BOIL), []
    for form, typed in (
        ("new", {"kind": "pot_on", "t": "0:10", "u_s": "1"}),
        ("event", {"event": FOUND, "do": "delete"}),
        ("remark", {"t": "0:10"}),
        ("weights", {"fuel.char_left_g": "60"}),
        ("counting", {"do": "exclude"}),
        ("undo", {"of": "1"}),
    ):
        made = await correct(bench.desk, trial, form, ANA | {"seen": ""} | typed)
        assert isinstance(made, Correction)
        told.append(words(made))
    assert told == [
        "Pot on is set.", "Boil is deleted.", "The remark is kept.", "The plan is changed.", "The trial is excluded.",
        "Correction 1 is taken back.",
    ]  # fmt: skip
    assert len(FORMS) == 7
