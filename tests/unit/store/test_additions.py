import pytest

from emberline.store.records import Portion
from emberline.store.store import Store
from unit.store.made_up import NOON_NS, SECOND_NS, batch, gap


@pytest.fixture
def ended(store: Store) -> str:
    """A trial from second 10 to second 20 of a minute's record, and its summary."""
    store.commit("b", [batch(0, 600)])
    trial = store.create_trial(bench="b", start_ns=NOON_NS + 10 * SECOND_NS).id
    store.end_trial(trial, NOON_NS + 20 * SECOND_NS)
    store.save_summary(trial, "{}", "0.1.0")
    return trial


def is_behind(store: Store, trial: str) -> bool:
    kept = store.summary(trial)
    assert kept is not None
    assert [one.id for one in store.pasts(["b"])["b"].unfinished] == ([trial] if kept.behind else [])
    return kept.behind


def test_what_comes_after_the_end_of_its_trial_leaves_its_summary_behind_until_it_is_made_anew(
    store: Store, ended: str
) -> None:
    # It was remembered by the running program alone: one that was killed before the summary was made anew forgot it.
    assert not is_behind(store, ended)
    known = store.trial(ended).additions
    assert store.commit("b", [batch(150, 5, channel="water")]).added_to == (ended,)
    assert is_behind(store, ended)
    store.save_summary(ended, "{}", "0.1.0", additions=known)
    assert is_behind(store, ended), "it was worked out from the readings before"
    store.save_summary(ended, "{}", "0.1.0", additions=store.trial(ended).additions)
    assert not is_behind(store, ended)


def test_a_loss_that_is_known_only_after_the_end_counts_too(store: Store, ended: str) -> None:
    store.commit("b", [batch(0, 150, channel="water"), batch(155, 445, channel="water")])
    store.save_summary(ended, "{}", "0.1.0", additions=store.trial(ended).additions)
    assert store.commit("b", [], [gap(150, 155, channel="water")]).added_to == (ended,)
    assert is_behind(store, ended)


def test_what_belongs_to_no_ended_trial_counts_with_none(store: Store, ended: str) -> None:
    running = store.create_trial(bench="b", start_ns=NOON_NS + 30 * SECOND_NS).id
    portions = [
        Portion("b", [batch(600, 20)]),
        Portion(
            "b", [batch(0, 50, channel="water"), batch(250, 50, channel="water")], [gap(610, 640, channel="water")]
        ),
        Portion("other", [batch(150, 5, device="else")]),
        Portion("b", [batch(150, 5)]),
    ]
    assert [receipt.added_to for receipt in store.submit_commits(portions).result(30.0)] == [()] * 4  # type: ignore[union-attr]
    assert store.trial(running).additions == store.trial(ended).additions == 0


def test_what_is_imported_is_no_addition_to_what_was_recorded_then(store: Store, ended: str) -> None:
    imported = store.create_trial(bench="b", start_ns=NOON_NS, origin="import", source="a.csv").id
    store.end_trial(imported, NOON_NS + 60 * SECOND_NS)
    assert store.commit("b", [batch(150, 5, device="table")], trial=imported).added_to == ()
    assert store.commit("b", [batch(500, 5, channel="water")]).added_to == ()
    assert store.trial(imported).additions == 0
    assert not is_behind(store, ended)


def test_one_that_fails_with_its_commit_is_not_counted(store: Store, ended: str) -> None:
    bad = batch(160, 5, channel="flame")
    bad.t_ns[2] = 0
    outcomes = store.submit_commits([Portion("b", [batch(150, 5, channel="water")]), Portion("b", [bad])]).result(30.0)
    assert isinstance(outcomes[1], ValueError)
    assert store.trial(ended).additions == 1
