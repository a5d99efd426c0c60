"""What a broker may be told of, and when."""

import numpy as np

from emberline.links.mqtt_claims import Claim, Claims, claim_of
from emberline_wire import Identify, MessageError, Samples


def samples(stream: int, first_seq: int, count: int, boot: int = 7) -> Samples:
    values = np.arange(count, dtype="<i2")
    return Samples(
        boot=boot, stream=stream, first_seq=first_seq, ticks=0, values=values, oldest_seq=0, period_us=100_000
    )


def test_a_frame_claims_the_samples_of_all_its_streams() -> None:
    assert claim_of([samples(2, 10, 5)]) == Claim(7, {2: 15})
    found = [samples(2, 10, 5), MessageError("no message"), samples(0, 4, 4), samples(2, 15, 1)]
    assert claim_of(found) == Claim(7, {2: 16, 0: 8})
    assert claim_of([Identify()]) is None
    assert claim_of([]) is None


def test_samples_of_a_second_boot_in_a_frame_are_nobodys_claim() -> None:
    assert claim_of([samples(2, 10, 5), samples(2, 0, 20, boot=8)]) == Claim(7, {2: 15})


def test_a_frame_of_several_streams_is_due_once_all_are_stored() -> None:
    claims = Claims()
    claims.enter(1, 7, {"mass": 10, "water": 20})
    claims.committed(7, {"mass": 10})
    assert claims.due() == []
    claims.committed(8, {"water": 20})
    assert claims.due() == []
    claims.committed(7, {"water": 20})
    assert claims.due() == [1]
    claims.enter(2, 7, {"mass": 5, "water": 20})
    assert claims.due() == [2]


def test_a_message_is_due_once_all_its_samples_are_stored() -> None:
    claims = Claims()
    claims.enter(1, 7, {"mass": 10})
    claims.enter(2, 7, {"mass": 20})
    claims.enter(3, 7, {"water": 20})
    claims.committed(7, {"mass": 12})
    assert claims.due() == [1]
    claims.committed(7, {"mass": 20})
    assert claims.due() == [2]
    assert claims.due() == []
    assert len(claims) == 1


def test_a_repeat_of_what_is_stored_is_due_at_once() -> None:
    claims = Claims()
    claims.committed(7, {"mass": 20})
    claims.enter(9, 7, {"mass": 20})
    assert claims.due() == [9]


def test_a_commit_of_a_later_boot_settles_what_is_left_of_an_ended_one() -> None:
    claims = Claims()
    claims.enter(1, 7, {"mass": 10})
    claims.end(7)
    assert claims.due() == []
    claims.committed(8, {"mass": 3})
    assert claims.due() == [1]


def test_a_message_without_acknowledgement_claims_nothing() -> None:
    claims = Claims()
    claims.enter(0, 7, {"mass": 10})
    claims.settle(0)
    assert (len(claims), claims.due()) == (0, [])


def test_nothing_of_a_lost_connection_is_acknowledged_on_the_next() -> None:
    claims = Claims()
    claims.enter(1, 7, {"mass": 10})
    claims.settle(2)
    ticket = claims.ticket(3)
    claims.forget()
    claims.committed(7, {"mass": 10})
    ticket.committed(0, {})
    assert claims.due() == []
    fresh = claims.ticket(3)
    fresh.committed(0, {})
    assert claims.due() == [3]
