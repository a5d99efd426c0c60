from collections.abc import Callable
from datetime import UTC
from zoneinfo import ZoneInfo

import pytest
from uncertainties import ufloat

from emberline.curves.events import Event, EventKind, Retraction
from emberline.store.errors import UnknownTrialError
from emberline.store.records import Note, StoredSummary
from emberline.store.store import Store
from emberline.store.trials import zone_named
from unit.store.made_up import NOON_NS, SECOND_NS, batch, numbers


def test_ids_are_the_day_in_the_benchs_zone_and_a_count(store: Store) -> None:
    ids = [store.create_trial(bench="b", start_ns=NOON_NS).id for _ in range(11)]
    assert ids[0] == "2025-11-25-1"
    assert ids[-1] == "2025-11-25-11"
    late = NOON_NS + 11 * 3600 * SECOND_NS + 1800 * SECOND_NS
    assert store.create_trial(bench="b", start_ns=late, zone="UTC").id == "2025-11-25-12"
    assert store.create_trial(bench="b", start_ns=late, zone="Europe/Vienna").id == "2025-11-26-1"
    assert [one.id for one in store.trials()][:2] == ids[:2]


def test_a_trial_remembers_everything(store: Store) -> None:
    made = store.create_trial(
        bench="b1",
        start_ns=NOON_NS,
        zone="Europe/Vienna",
        origin="import",
        source="burn.csv",
        relative=True,
        remarks=["numbers have decimal commas", "two\nlines"],
        label="chips",
        bench_text="id = 'b1'",
        plan_text="label = 'chips'",
    )
    assert made == store.trial(made.id)
    assert (made.bench, made.label, made.origin, made.source, made.relative) == (
        "b1",
        "chips",
        "import",
        "burn.csv",
        True,
    )
    assert (made.zone, made.created_ns, made.end_ns) == ("Europe/Vienna", NOON_NS, None)
    assert made.remarks == ("numbers have decimal commas", "two lines")
    assert (made.bench_text, made.plan_text) == ("id = 'b1'", "label = 'chips'")


def test_the_last_plan_counts(store: Store) -> None:
    trial = store.create_trial(bench="b", start_ns=NOON_NS)
    assert trial.plan_text == ""
    store.save_plan(trial.id, "one")
    store.save_plan(trial.id, "two")
    assert store.trial(trial.id).plan_text == "two"


def test_a_bench_file_holds_for_the_trials_made_under_it(store: Store) -> None:
    first = store.create_trial(bench="b", start_ns=NOON_NS, bench_text="old")
    same = store.create_trial(bench="b", start_ns=NOON_NS, bench_text="old")
    second = store.create_trial(bench="b", start_ns=NOON_NS, bench_text="new")
    assert [store.trial(one.id).bench_text for one in (first, same, second)] == ["old", "old", "new"]


def test_events_come_back_as_they_were(store: Store) -> None:
    trial = store.create_trial(bench="b", start_ns=NOON_NS).id
    events = [
        Event(EventKind.LIT, 12.25, 1.5, "mass falls by 2.1 g/min", by_person=True),
        Event(EventKind.REFUEL, 600.0, 0.5, "+52 g", ufloat(52.0, 0.4), announced_t_s=611.0),
        Event(EventKind.BOIL, 700.0, 3.0, "a plateau", confirmed=False),
    ]
    gone = [Retraction(EventKind.FLAMEOUT, 300.0, 320.0, "the flame came back")]
    store.save_events(trial, events, gone)
    store.save_events(trial, events, gone)
    got = store.events(trial)
    assert [(e.kind, e.t_s, e.u_s, e.evidence, e.confirmed, e.announced_t_s, e.by_person) for e in got] == [
        (e.kind, e.t_s, e.u_s, e.evidence, e.confirmed, e.announced_t_s, e.by_person) for e in events
    ]
    assert got[0].size_g is None
    assert got[1].size_g is not None
    assert (got[1].size_g.n, got[1].size_g.s) == (52.0, 0.4)
    assert store.retractions(trial) == gone


def test_summaries_and_notes(store: Store) -> None:
    trial = store.create_trial(bench="b", start_ns=NOON_NS).id
    assert store.summary(trial) is None
    store.save_summary(trial, "{}", "0.1.0")
    store.save_summary(trial, '{"a": 1}', "0.2.0")
    assert store.summary(trial) == StoredSummary('{"a": 1}', "0.2.0")
    store.add_note("b", Note(NOON_NS + 5, "a gust", trial))
    store.add_note("b", Note(NOON_NS, "set up", None))
    assert [one.text for one in store.notes("b")] == ["set up", "a gust"]
    store.end_trial(trial, NOON_NS + SECOND_NS)
    assert store.trial(trial).end_ns == NOON_NS + SECOND_NS


def test_an_unknown_trial_is_told_everywhere(store: Store) -> None:
    calls: list[Callable[[], object]] = [
        lambda: store.trial("x"),
        lambda: store.events("x"),
        lambda: store.retractions("x"),
        lambda: store.summary("x"),
        lambda: store.save_plan("x", ""),
        lambda: store.save_events("x", []),
        lambda: store.save_summary("x", "", ""),
        lambda: store.add_note("b", Note(0, "", "x")),
        lambda: store.end_trial("x", 0),
        lambda: store.compact("x"),
    ]
    for call in calls:
        with pytest.raises(UnknownTrialError, match="emberline trials"):
            call()


def test_the_samples_of_an_import_and_of_its_bench_stay_apart(store: Store) -> None:
    store.commit("b", [batch(0, 50)])
    live = store.create_trial(bench="b", start_ns=NOON_NS)
    imported = store.create_trial(bench="b", start_ns=NOON_NS, origin="import", source="b.csv")
    store.commit("b", [batch(100, 10, device="import:b.csv")], trial=imported.id)
    assert numbers(list(store.trial_batches(live))) == list(range(50))
    assert numbers(list(store.trial_batches(imported))) == list(range(100, 110))


def test_zones_by_name() -> None:
    assert zone_named("UTC") is UTC
    assert zone_named("Europe/Vienna") == ZoneInfo("Europe/Vienna")
    assert zone_named("Nowhere/At all") is UTC
    assert zone_named("../etc/passwd") is UTC
