"""Messages waiting to be sent."""

from emberline_wire import Identify, Ping, Resume, SetRate
from emberline_wire.outbox import Outbox


def test_the_newest_of_a_kind_takes_the_place_of_the_older() -> None:
    outbox = Outbox()
    outbox.put(Ping(1))
    outbox.put(Identify())
    outbox.put(Ping(2))
    assert outbox.holds(Ping)
    assert outbox.take() == [Ping(2), Identify()]
    assert outbox.take() == []
    assert not outbox.holds(Ping)


def test_rates_of_different_streams_wait_side_by_side() -> None:
    outbox = Outbox()
    outbox.put(SetRate(1, 0, 1000), 0)
    outbox.put(SetRate(1, 1, 2000), 1)
    assert len(outbox.take()) == 2


def test_resumes_are_joined_within_a_boot() -> None:
    outbox = Outbox()
    outbox.put_resume(1, {0: 5})
    outbox.put_resume(1, {1: 7, 0: 6})
    assert outbox.take() == [Resume(1, {0: 6, 1: 7})]
    outbox.put_resume(1, {0: 5})
    outbox.put_resume(2, {1: 7})
    assert outbox.take() == [Resume(2, {1: 7})]


def test_a_link_that_is_gone_takes_its_messages_along() -> None:
    outbox = Outbox()
    outbox.put(Identify())
    outbox.clear()
    assert outbox.take() == []
