import random
from dataclasses import replace

import numpy as np
import pytest

from emberline.bench.samples import SampleBatch
from emberline.store import samples
from emberline.store.records import Tally
from emberline.store.store import Store
from unit.store.made_up import NOON_NS, TENTH_NS, batch, gap, numbers


def test_what_goes_in_comes_out_in_commit_order(store: Store) -> None:
    first = store.commit("b1", [batch(0, 5), batch(0, 2, channel="water")])
    second = store.commit("b1", [batch(5, 5)])
    assert first.commit is not None
    assert second.commit is not None
    assert second.commit > first.commit
    got = list(store.batches("b1"))
    assert [(one.channel, one.first_seq, len(one)) for one in got] == [("mass", 0, 5), ("water", 0, 2), ("mass", 5, 5)]
    assert np.array_equal(got[0].raw, batch(0, 5).raw)
    assert np.array_equal(got[0].t_ns, batch(0, 5).t_ns)
    assert list(store.batches("b2")) == []


def test_a_repeat_is_left_out_and_the_receipt_says_what_was_stored(store: Store) -> None:
    store.commit("b1", [batch(10, 10)])
    receipt = store.commit("b1", [batch(5, 20)])
    assert [(one.first_seq, one.next_seq) for one in receipt.stored] == [(5, 10), (20, 25)]
    assert receipt.repeated == 10
    again = store.commit("b1", [batch(5, 20)])
    assert (again.commit, again.stored, again.repeated) == (None, (), 20)
    assert sorted(numbers(list(store.batches("b1")))) == list(range(5, 25))


def test_repeats_within_one_commit_are_left_out_too(store: Store) -> None:
    receipt = store.commit("b1", [batch(0, 10), batch(5, 10), batch(0, 0)])
    assert sum(len(one) for one in receipt.stored) == 15
    assert receipt.repeated == 5


def test_boots_channels_and_devices_have_numbers_of_their_own(store: Store) -> None:
    for one in (batch(0, 3), batch(0, 3, boot=2), batch(0, 3, channel="water"), batch(0, 3, device="other")):
        assert store.commit("b1", [one]).repeated == 0


def test_the_next_number_counts_what_is_flagged(store: Store) -> None:
    assert store.next_seq("dev", 1, "mass") == 0
    store.commit("b1", [batch(0, 10)])
    assert store.next_seq("dev", 1, "mass") == 10
    store.commit("b1", [], [gap(10, 15)])
    assert store.next_seq("dev", 1, "mass") == 15
    store.commit("b1", [batch(20, 5)])
    assert store.next_seq("dev", 1, "mass") == 25
    assert store.missing("dev", 1, "mass") == [(15, 20)]


def test_the_next_boot_of_a_device(store: Store) -> None:
    assert store.next_boot("dev") == 0
    store.commit("b1", [batch(0, 3, boot=0), batch(0, 3, boot=4), batch(0, 3, device="other", boot=9)])
    assert store.next_boot("dev") == 5


def test_a_flagged_sample_that_turns_up_is_not_flagged_any_more(store: Store) -> None:
    store.commit("b1", [batch(0, 10), batch(20, 10)], [gap(10, 20)])
    assert store.tally("dev", 1, "mass") == Tally(20, 10)
    receipt = store.commit("b1", [batch(13, 2)])
    assert receipt.repeated == 0
    assert store.tally("dev", 1, "mass") == Tally(22, 8)
    assert [(one.first_seq, one.next_seq, one.reason) for one in store.gaps("b1")] == [
        (10, 13, "link lost"),
        (15, 20, "link lost"),
    ]


def test_a_loss_is_flagged_once_and_never_over_stored_samples(store: Store) -> None:
    store.commit("b1", [batch(0, 10)], [gap(5, 12)])
    receipt = store.commit("b1", [], [gap(8, 15)])
    assert [(one.first_seq, one.next_seq) for one in receipt.flagged] == [(12, 15)]
    assert store.tally("dev", 1, "mass") == Tally(10, 5)
    assert store.commit("b1", [], [gap(0, 15)]).flagged == ()


def test_gaps_are_found_by_time(store: Store) -> None:
    store.commit("b1", [], [gap(10, 20), gap(100, 110)])
    assert [one.first_seq for one in store.gaps("b1", NOON_NS + 50 * TENTH_NS)] == [100]
    assert [one.first_seq for one in store.gaps("b1", 0, NOON_NS + 50 * TENTH_NS)] == [10]
    assert store.gaps("b2") == []


def test_a_window_cuts_batches_at_both_ends(store: Store) -> None:
    store.commit("b1", [batch(0, 100)])
    got = list(store.batches("b1", NOON_NS + 10 * TENTH_NS, NOON_NS + 20 * TENTH_NS))
    assert [(one.first_seq, one.next_seq) for one in got] == [(10, 21)]
    assert list(store.batches("b1", NOON_NS + 10 * TENTH_NS + 1, NOON_NS + 11 * TENTH_NS - 1)) == []


def test_many_pages_are_read_without_loss(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(samples, "PAGE", 3)
    for i in range(20):
        store.commit("b1", [batch(10 * i, 10)])
        store.commit("b2", [batch(10 * i, 10, device="other")])
    assert numbers(list(store.batches("b1"))) == list(range(200))
    middle = [one.id for one in store.commits("b1")][9]
    assert numbers(list(store.batches("b1", after=middle))) == list(range(100, 200))


def test_unsound_batches_are_refused_and_nothing_of_the_commit_is_kept(store: Store) -> None:
    good = batch(0, 3)
    backwards = SampleBatch("dev", 1, "water", 0, good.t_ns[::-1], good.raw, good.flags)
    short = SampleBatch("dev", 1, "water", 0, good.t_ns, good.raw[:2], good.flags)
    for bad in (backwards, short):
        with pytest.raises(ValueError, match="dev/water"):
            store.commit("b1", [good, bad])
    assert store.next_seq("dev", 1, "mass") == 0
    assert list(store.batches("b1")) == []


@pytest.mark.parametrize("place", [0, 1, 2])
def test_an_unsound_batch_is_named_wherever_it_stands_and_batches_may_overlap(store: Store, place: int) -> None:
    # Each begins before the one before it has ended, and one is empty.
    batches = [batch(number, 10, device=f"dev-{number}") for number in range(3)]
    store.commit("b1", [*batches, batch(3, 0, device="dev-3")])
    wrong_ns = batch(10 + place, 10).t_ns.copy()
    wrong_ns[-1] = wrong_ns[-2] - 1
    later = [batch(10 + number, 10, device=f"dev-{number}") for number in range(3)]
    later[place] = replace(later[place], t_ns=wrong_ns)
    with pytest.raises(ValueError, match=f"of dev-{place}/mass: times decrease within the batch"):
        store.commit("b1", later)


@pytest.mark.parametrize("seed", range(8))
def test_sent_is_stored_plus_flagged_whatever_comes_in_which_order(store: Store, seed: int) -> None:
    rng = random.Random(seed)
    sent = 400
    pieces = []
    for _ in range(60):
        first = rng.randrange(sent)
        pieces.append((first, min(sent, first + rng.randrange(1, 40))))
    pieces += [(sent - 1, sent), (0, 1)]
    stored: set[int] = set()
    rng.shuffle(pieces)
    for first, after in pieces:
        if rng.random() < 0.3:
            store.commit("b1", [], [gap(first, after)])
        else:
            receipt = store.commit("b1", [batch(first, after - first)])
            new = set(numbers(list(receipt.stored)))
            assert not new & stored
            assert new == set(range(first, after)) - stored
            stored |= new
    store.commit("b1", [], [gap(0, sent)])
    got = numbers(list(store.batches("b1")))
    assert len(got) == len(set(got))
    assert set(got) == stored, f"seed {seed}"
    assert store.tally("dev", 1, "mass") == Tally(len(stored), sent - len(stored))
    assert store.missing("dev", 1, "mass") == []
