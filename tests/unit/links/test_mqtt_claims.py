"""What a broker may be told of, and when."""

import numpy as np

from emberline.links.mqtt_claims import Claim, Claims, claim_of
from emberline_wire import Identify, Samples, seal


def frame(first_seq: int, count: int, boot: int = 7) -> bytes:
    values = np.arange(count, dtype="<i2")
    return seal(
        Samples(
            boot=boot, stream=2, first_seq=first_seq, ticks=0, values=values, oldest_seq=0, period_us=100_000
        ).to_bytes()
    )


def test_a_frame_of_samples_claims_them() -> None:
    assert claim_of(frame(10, 5)) == Claim(7, 2, 15)
    assert claim_of(seal(Identify().to_bytes())) is None
    assert claim_of(b"junk") is None


def test_a_message_is_due_once_all_its_samples_are_stored() -> None:
    claims = Claims()
    claims.enter(1, 7, "mass", 10)
    claims.enter(2, 7, "mass", 20)
    claims.enter(3, 7, "water", 20)
    claims.committed(7, {"mass": 12})
    assert claims.due() == [1]
    claims.committed(7, {"mass": 20})
    assert claims.due() == [2]
    assert claims.due() == []
    assert len(claims) == 1


def test_a_repeat_of_what_is_stored_is_due_at_once() -> None:
    claims = Claims()
    claims.committed(7, {"mass": 20})
    claims.enter(9, 7, "mass", 20)
    assert claims.due() == [9]


def test_a_commit_of_a_later_boot_settles_what_is_left_of_an_ended_one() -> None:
    claims = Claims()
    claims.enter(1, 7, "mass", 10)
    claims.end(7)
    assert claims.due() == []
    claims.committed(8, {"mass": 3})
    assert claims.due() == [1]


def test_a_message_without_acknowledgement_claims_nothing() -> None:
    claims = Claims()
    claims.enter(0, 7, "mass", 10)
    claims.settle(0)
    assert (len(claims), claims.due()) == (0, [])


def test_nothing_of_a_lost_connection_is_acknowledged_on_the_next() -> None:
    claims = Claims()
    claims.enter(1, 7, "mass", 10)
    claims.settle(2)
    ticket = claims.ticket(3)
    claims.forget()
    claims.committed(7, {"mass": 10})
    ticket.committed(0, {})
    assert claims.due() == []
    fresh = claims.ticket(3)
    fresh.committed(0, {})
    assert claims.due() == [3]
