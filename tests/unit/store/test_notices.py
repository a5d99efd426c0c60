from emberline.store.notices import Notice, NoticeKind
from emberline.store.store import Store


def test_the_newest_notices_come_in_order_of_time(store: Store) -> None:
    kept = [Notice(t_ns, NoticeKind.OUTAGE, f"at {t_ns}") for t_ns in (5, 1, 3, 3)]
    for one in kept:
        store.add_notice(one)
    assert [one.t_ns for one in store.notices()] == [1, 3, 3, 5]
    assert [one.t_ns for one in store.notices(limit=2)] == [3, 5]
    assert [one.t_ns for one in store.notices(since_ns=4)] == [5]
    assert store.notices(since_ns=5) == [kept[0]]


def test_old_notices_go_with_old_samples(store: Store) -> None:
    for t_ns in (1, 10):
        store.add_notice(Notice(t_ns, NoticeKind.CLOCK, "the clock was set"))
    store.prune(5)
    assert [one.t_ns for one in store.notices()] == [10]
