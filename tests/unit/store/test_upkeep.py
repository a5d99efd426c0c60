import sqlite3
from collections.abc import Iterator
from concurrent.futures import Future

import pytest

from emberline.bench.samples import SampleBatch
from emberline.store import samples, upkeep
from emberline.store.connection import reading
from emberline.store.records import CommitReceipt, Portion, Trial
from emberline.store.store import Store
from unit.store.made_up import NOON_NS, SECOND_NS, TENTH_NS, batch, numbers


def rows(store: Store) -> int:
    with reading(store.path) as connection:
        count: int = connection.execute("SELECT count(*) FROM blocks").fetchone()[0]
    return count


def shape(commits: Iterator[object]) -> list[object]:
    return [
        (one.id, [(b.channel, b.first_seq, b.raw.tobytes(), b.t_ns.tobytes()) for b in one.batches])  # type: ignore[attr-defined]
        for one in commits
    ]


def fill(store: Store, seconds: int = 100) -> Trial:
    """Two commits a second of two channels, another bench between them, one late batch; a trial in the middle."""
    trial = store.create_trial(bench="b1", start_ns=NOON_NS + 20 * SECOND_NS)
    for half in range(2 * seconds):
        late: list[SampleBatch] = [batch(5, 3, boot=9)] if half == 80 else []
        store.commit("b1", [batch(5 * half, 5, channel="water"), batch(5 * half, 5), *late])
        store.commit("b2", [batch(5 * half, 5, device="other")])
    store.end_trial(trial.id, NOON_NS + 80 * SECOND_NS)
    return store.trial(trial.id)


def test_merging_changes_no_commit_and_no_order(store: Store) -> None:
    trial = fill(store)
    before, other, inside = shape(store.commits("b1")), shape(store.commits("b2")), list(store.trial_batches(trial))
    count = rows(store)
    saved = store.compact(trial.id)
    assert saved > 100
    assert rows(store) == count - saved
    assert shape(store.commits("b1")) == before
    assert shape(store.commits("b2")) == other
    assert numbers(list(store.trial_batches(trial))) == numbers(inside)
    assert store.compact(trial.id) == 0


def test_a_reader_in_the_middle_of_its_pages_sees_each_commit_once(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(samples, "PAGE", 7)
    trial = fill(store)
    whole = shape(store.commits("b1"))
    walk = store.commits("b1")
    seen = [next(walk) for _ in range(60)]
    store.compact(trial.id)
    assert shape(iter([*seen, *walk])) == whole


def test_a_bench_that_runs_on_is_stored_between_two_merges(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(upkeep, "MERGED_COMMITS", 10)
    trial = fill(store)
    before, merge, running = shape(store.commits("b1")), upkeep.compact_next, iter(range(1_000, 10_000, 5))
    waiting: list[Future[list[CommitReceipt | Exception]]] = []

    def merge_while_running(connection: sqlite3.Connection, trial: Trial, after: int) -> tuple[int, int] | None:
        assert all(one.done() for one in waiting), "a commit waits for more than one merge"
        waiting.append(store.submit_commits([Portion("b1", [batch(next(running), 5)])]))
        return merge(connection, trial, after)

    monkeypatch.setattr(upkeep, "compact_next", merge_while_running)
    store.compact(trial.id)
    assert len(waiting) > 10
    waiting[-1].result(timeout=30.0)
    assert shape(store.commits("b1"))[: len(before)] == before
    assert store.tally("dev", 1, "mass").stored == 1_000 + 5 * len(waiting)


def test_merged_blocks_stay_small_enough_for_a_look_at_a_part(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(upkeep, "MERGED_COMMITS", 10)
    trial = fill(store)
    store.compact(trial.id)
    with reading(store.path) as connection:
        assert connection.execute("SELECT max(commits) FROM blocks").fetchone()[0] == 10


def test_what_a_server_has_not_taken_is_not_merged(store: Store) -> None:
    trial = fill(store)
    half = [one.id for one in store.commits("b1")][100]
    store.advance_outbox("archive", half)
    store.compact(trial.id)
    with reading(store.path) as connection:
        spans = connection.execute("SELECT id, last_id FROM blocks WHERE last_id > id").fetchall()
    assert spans
    assert all(last <= half for _, last in spans)
    saved = rows(store)
    store.advance_outbox("archive", 10**6)
    store.compact(trial.id)
    assert rows(store) < saved


def test_the_cursor_never_goes_back(store: Store) -> None:
    assert store.outbox_cursor("archive") == 0
    store.advance_outbox("archive", 5)
    store.advance_outbox("archive", 3)
    assert store.outbox_cursor("archive") == 5


def test_an_open_trial_is_not_merged(store: Store) -> None:
    trial = store.create_trial(bench="b1", start_ns=NOON_NS)
    with pytest.raises(ValueError, match="still open"):
        store.compact(trial.id)


def test_pruning_keeps_trials_imports_and_what_a_server_has_not_taken(store: Store) -> None:
    trial = fill(store)
    imported = store.create_trial(bench="b1", start_ns=NOON_NS, origin="import")
    store.commit("b1", [batch(0, 10, device="file")], trial=imported.id)
    store.end_trial(imported.id, NOON_NS + 10 * TENTH_NS)
    inside = numbers(list(store.trial_batches(trial)))
    first = next(store.commits("b1")).id
    store.advance_outbox("archive", first)
    cutoff = NOON_NS + 90 * SECOND_NS
    careful = store.prune(cutoff)
    assert careful.blocks == 1
    assert careful.waiting > 0
    store.advance_outbox("archive", 10**6)
    done = store.prune(cutoff)
    assert (done.blocks, done.waiting) == (careful.waiting, 0)
    assert numbers(list(store.trial_batches(trial))) == inside
    assert numbers(list(store.trial_batches(store.trial(imported.id)))) == list(range(10))
    kept = list(store.batches("b2"))
    assert min(int(one.t_ns[-1]) for one in kept) >= cutoff


def test_a_pruned_sample_that_is_sent_again_is_still_a_repeat(store: Store) -> None:
    store.commit("b1", [batch(0, 10)])
    assert store.prune(NOON_NS + SECOND_NS * 100).blocks == 1
    assert store.commit("b1", [batch(0, 10)]).repeated == 10


def test_samples_of_an_open_trial_are_kept(store: Store) -> None:
    store.create_trial(bench="b1", start_ns=NOON_NS)
    store.commit("b1", [batch(0, 10)])
    assert store.prune(NOON_NS + SECOND_NS * 100).blocks == 0


def test_old_readings_outside_trials_are_merged_too_and_the_newest_are_not(store: Store) -> None:
    fill(store)
    before, other, count = shape(store.commits("b1")), shape(store.commits("b2")), rows(store)
    cutoff = NOON_NS + 90 * SECOND_NS
    saved = store.compact_old(cutoff)
    assert saved > 300
    assert rows(store) == count - saved
    assert shape(store.commits("b1")) == before
    assert shape(store.commits("b2")) == other
    with reading(store.path) as connection:
        newest = connection.execute("SELECT max(commits) FROM blocks WHERE start_ns > ?", (cutoff,)).fetchone()[0]
    assert newest == 1
    assert store.compact_old(cutoff) == 0


def test_merging_goes_on_where_a_look_finds_nothing_to_merge(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(upkeep, "LOOKED_AT", 7)
    trial = fill(store)
    before = shape(store.commits("b1"))
    store.compact(trial.id)
    assert shape(store.commits("b1")) == before
    with reading(store.path) as connection:
        merged = connection.execute("SELECT count(*) FROM blocks WHERE commits > 1 AND bench = 'b1'").fetchone()[0]
    assert merged >= 10


def test_merged_readings_outside_trials_are_pruned_by_whole_blocks(store: Store) -> None:
    trial = fill(store)
    inside = numbers(list(store.trial_batches(trial)))
    store.compact_old(NOON_NS + 200 * SECOND_NS)
    store.prune(NOON_NS + 200 * SECOND_NS)
    assert numbers(list(store.trial_batches(trial))) == inside
