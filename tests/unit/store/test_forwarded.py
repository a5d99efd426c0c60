from collections.abc import Iterator
from pathlib import Path

import pytest

from emberline.store.forwarded import SOME
from emberline.store.store import Store


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    # A clock that stands: what was written last must be known without it.
    with Store.open(tmp_path / "s", lambda: 1) as opened:
        opened.advance_outbox("archive", 0)
        yield opened


def trial(store: Store) -> str:
    one = store.create_trial(bench="yard", start_ns=10**18).id
    store.save_summary(one, "{}", "0.1.0")
    return one


def test_summaries_are_handed_out_in_the_order_in_which_they_were_written_last(store: Store) -> None:
    first, second = trial(store), trial(store)
    assert store.changed_summaries("archive") == [(1, first), (2, second)]
    store.save_summary(first, "{}", "0.1.0")
    assert store.changed_summaries("archive") == [(2, second), (3, first)]
    store.settle_forwarding("archive", second, 1, 2)
    assert store.changed_summaries("archive") == [(3, first)]
    assert len(store.changed_summaries("another")) == 2


def test_some_are_handed_out_at_a_time(store: Store) -> None:
    for _ in range(SOME + 1):
        trial(store)
    assert len(store.changed_summaries("archive")) == SOME


def test_what_a_server_may_have_is_known_until_it_is_settled(store: Store) -> None:
    one = trial(store)
    store.plan_forwarding("archive", one, 1, ["a 1", "b 2"])
    store.plan_forwarding("archive", one, 2, ["a 3"])
    assert store.forwarded("archive", one) == {1: ["a 1", "b 2"], 2: ["a 3"]}
    assert store.forwarded("another", one) == {}
    store.settle_forwarding("archive", one, 2, 1)
    assert store.forwarded("archive", one) == {2: ["a 3"]}
