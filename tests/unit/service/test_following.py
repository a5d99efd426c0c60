from dataclasses import replace
from itertools import islice
from pathlib import Path

import pytest

import stored_burn
from emberline.curves.events import Event, EventKind, Phase, Retraction
from emberline.curves.grid import Grid
from emberline.service import following as module
from emberline.service.bench_fit import bench_text
from emberline.service.following import Following, Followings
from emberline.service.keeper import first_sample_ns
from emberline.service.watch import Turn, Watch
from emberline.store.fresh import Fresh
from emberline.store.store import Store
from emberline.trials.tracker import Tracker
from emberline_sim.recording import Recording
from stored_burn import BENCH, SECOND_NS, START_NS, Followed

LENGTH_S = 520.0


@pytest.fixture(scope="module")
def burn(tmp_path_factory: pytest.TempPathFactory) -> Recording:
    return stored_burn.recording(str(tmp_path_factory.mktemp("burn")), LENGTH_S)


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory, burn: Recording) -> tuple[Path, list[Turn]]:
    """Follow the burn as it happens, twenty seconds at a time; return the store and what was found."""
    path = tmp_path_factory.mktemp("store") / "burns.sqlite3"
    following = Followed(path)
    turns = []
    with Store.open(path) as store:
        following.begin(watch(burn))
        for second in range(20, int(LENGTH_S) + 20, 20):
            stored_burn.fill(store, burn, until_s=second, after_s=second - 20)
            turns += following.turns()
    return path, turns


def watch(burn: Recording, *, armed: bool = True, announced: tuple[Event, ...] = ()) -> Watch:
    text = bench_text(stored_burn.bench(burn)).replace("end_after_flameout_min = 30.0", "end_after_flameout_min = 1.0")
    return Watch(BENCH, text, START_NS, stored_burn.plan(burn) if armed else None, announced)


def said(turns: list[Turn]) -> list[tuple[EventKind, float | None]]:
    return [(one.kind, one.announced_t_s) for turn in turns for one in turn.said]


def test_a_burn_is_followed_to_its_end(burn: Recording, lived: tuple[Path, list[Turn]]) -> None:
    last = lived[1][-1]
    standing = {event.kind: event.t_s for event in last.announced}
    true = {event.kind: event.t_s for event in burn.truth.events}
    assert standing[EventKind.LIT] == pytest.approx(true["lit"], abs=15.0)
    assert standing[EventKind.BOIL] == pytest.approx(true["boil"], abs=10.0)
    assert standing[EventKind.FLAMEOUT] == pytest.approx(true["flameout"], abs=30.0)
    assert last.phase is Phase.CHAR
    assert last.t_s == pytest.approx(LENGTH_S, abs=2.0)
    out = next(event for event in last.announced if event.kind is EventKind.FLAMEOUT)
    assert last.end_ns == START_NS + int((out.t_s + 60.0) * 1e9)


def test_a_replay_says_the_same_at_the_same_moments(burn: Recording, lived: tuple[Path, list[Turn]]) -> None:
    path, turns = lived
    later = Followed(path)
    later.begin(watch(burn))
    assert said(later.turns()) == said(turns)


def test_what_was_announced_before_a_crash_keeps_its_moment(store: Store, burn: Recording) -> None:
    stored_burn.fill(store, burn, until_s=100.0)
    first = Followed(store.path)
    first.begin(watch(burn))
    announced = first.turns()[-1].announced
    assert [event.kind for event in announced] == [EventKind.LIT]
    moved = tuple(event.announced((event.announced_t_s or 0.0) + 3.0) for event in announced)
    second = Followed(store.path)
    second.begin(watch(burn, announced=moved))
    kept = second.turns()[-1].announced
    assert [event.announced_t_s for event in kept] == [event.announced_t_s for event in moved]


def test_without_a_trial_only_the_beginning_of_one_is_found(store: Store, burn: Recording) -> None:
    following = Followed(store.path)
    following.begin(watch(burn, armed=False))
    stored_burn.fill(store, burn, until_s=55.0)
    assert {turn.begin_ns for turn in following.turns()} == {None}
    stored_burn.fill(store, burn, until_s=100.0, after_s=55.0)
    begins = [turn.begin_ns for turn in following.turns()]
    assert begins[-1] is not None
    # As far as there are samples: it began with the first of them, a minute before.
    assert begins[-1] < START_NS <= first_sample_ns(store, BENCH, begins[-1]) < START_NS + SECOND_NS
    assert following.turn().end_ns is None


def test_a_trial_that_begins_where_its_fire_was_looked_out_for_is_not_gone_through_again(
    store: Store, burn: Recording, monkeypatch: pytest.MonkeyPatch
) -> None:
    looked: list[int] = []
    look = Tracker.look

    def watched(self: Tracker, grid: Grid) -> list[Event | Retraction]:
        looked.append(grid.n)
        return look(self, grid)

    monkeypatch.setattr(Tracker, "look", watched)
    stored_burn.fill(store, burn, until_s=150.0)
    going_on, anew = Followed(store.path), Followed(store.path)
    # Looked out for from long before the first sample.
    going_on.begin(replace(watch(burn, armed=False), start_ns=START_NS - 900 * SECOND_NS))
    while (seen := going_on.turn()).begin_ns is None:
        assert seen.more
    assert seen.begin_ns < START_NS
    start_ns = first_sample_ns(store, BENCH, seen.begin_ns)
    trial, turns = replace(watch(burn), plan_text="", start_ns=start_ns), []
    for following in (going_on, anew):
        looked.clear()
        following.begin(trial)
        turns.append(following.turns())
        assert looked[0] == (int(seen.t_s) + 1 if following is going_on else 1)
    stored_burn.fill(store, burn, until_s=240.0, after_s=150.0)
    turns = [some + following.turns() for some, following in zip(turns, (going_on, anew), strict=True)]
    assert said(turns[0]) == said(turns[1])
    first = [next(turn.alarms for turn in some if turn.alarms is not None).first for some in turns]
    assert first == [True, True]
    # Two numbers that were found apart are never equal, but as they are written.
    assert repr(turns[0][-1]) == repr(turns[1][-1])


def test_a_trial_has_five_minutes_of_history_where_there_are_such(store: Store, burn: Recording) -> None:
    for batches in islice(stored_burn.seconds(burn, boot=1), 50):
        store.commit(BENCH, batches)
    later_ns = START_NS + 600 * SECOND_NS
    for batches in islice(stored_burn.seconds(burn, boot=2, start_ns=later_ns), 100):
        store.commit(BENCH, batches)
    following = Followed(store.path)
    following.begin(watch(burn, armed=False))
    begin_ns = following.turns()[-1].begin_ns
    assert begin_ns is not None
    assert (later_ns + 60 * SECOND_NS - begin_ns) / SECOND_NS == pytest.approx(300.0, abs=15.0)
    assert first_sample_ns(store, BENCH, begin_ns) == pytest.approx(later_ns, abs=SECOND_NS)


def test_a_quiet_bench_is_watched_for_ever_without_growing(
    store: Store, burn: Recording, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "LOOKOUT_S", 200)
    monkeypatch.setattr(module, "HISTORY_S", 60)
    following = Followed(store.path)
    following.begin(watch(burn, armed=False))
    for boot in range(12):
        quiet = stored_burn.seconds(burn, boot=boot, start_ns=START_NS + boot * 50 * SECOND_NS)
        for batches in islice(quiet, 50):
            store.commit(BENCH, batches)
        assert following.turns()[-1].begin_ns is None
    assert following.turn().t_s <= 250.0


def test_benches_that_were_begun_together_let_go_of_their_records_one_after_the_other(
    store: Store, burn: Recording, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(module, "LOOKOUT_S", 30)
    monkeypatch.setattr(module, "HISTORY_S", -40)
    names, followings = ["yard", "shed", "barn"], Followings(store.path)
    watches = [replace(watch(burn, armed=False), bench=name) for name in names]
    for number, name in enumerate(names):
        for batches in islice(stored_burn.seconds(burn), 40):
            store.commit(name, [replace(batch, device=f"dev-{number}") for batch in batches])
    told = [followings.turns([] if turn else watches, names) for turn in range(4)]
    lengths_s = [
        {name: found["t_s"] for name, found in turn.items() if not isinstance(found, str) and "t_s" in found}
        for turn in told
    ]
    assert [set(some) for some in lengths_s] == [set(names), {"yard"}, {"shed"}, {"barn"}]
    assert all(length_s > 30.0 for length_s in lengths_s[0].values())
    assert all(length_s <= 30.0 for some in lengths_s[1:] for length_s in some.values())


def test_memory_is_given_back_once_for_many_benches_that_begin(
    store: Store, burn: Recording, monkeypatch: pytest.MonkeyPatch
) -> None:
    given_back: list[float] = []
    monkeypatch.setattr(module, "give_back", lambda: given_back.append(0.0))
    followings = Followings(store.path)
    names = ["yard", "shed", "barn"]
    for name in names:
        followings.turns([replace(watch(burn), bench=name)], [name])
    assert len(given_back) == 1
    monkeypatch.setattr(module, "GIVE_BACK_EVERY_S", -1.0)
    followings.turns([watch(burn)], [BENCH])
    assert len(given_back) == 2


def test_a_turn_needs_something_to_follow(store: Store) -> None:
    with pytest.raises(KeyError):
        Followings(store.path).turns([], [BENCH])
    with pytest.raises(RuntimeError):
        Following().turn(Fresh((), more=False))


def test_the_first_sample_of_an_empty_stretch_is_its_beginning(store: Store) -> None:
    store.commit(BENCH, [])
    assert first_sample_ns(store, BENCH, START_NS) == START_NS


def test_two_benches_are_followed_side_by_side_each_from_its_own_record(tmp_path: Path, burn: Recording) -> None:
    path = tmp_path / "burns.sqlite3"
    with Store.open(path) as store:
        stored_burn.fill(store, burn, until_s=120.0)
        yard, shed = Followed(path), Followed(path, "shed")
        shed.followings = yard.followings
        yard.begin(watch(burn))
        shed.begin(replace(watch(burn), bench="shed"))
        turns, quiet = yard.turns(), shed.turn()
    assert [event.kind for event in turns[-1].announced] == [EventKind.LIT]
    assert (quiet.announced, quiet.t_s) == ((), 0.0)
    with pytest.raises(KeyError):
        yard.followings.turns([], ["barn"])
