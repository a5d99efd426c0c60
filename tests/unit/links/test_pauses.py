import random
from itertools import pairwise

from emberline.links.pauses import FIRST_S, SERIAL_CAP_S, Pauses


def test_pauses_grow_from_half_a_second_to_the_cap() -> None:
    pauses = Pauses(chance=random.Random(1))
    longest = [max(Pauses(chance=random.Random(seed), failures=n).next_s() for seed in range(200)) for n in range(12)]
    assert 0.9 * FIRST_S < longest[0] <= FIRST_S
    assert all(earlier < later for earlier, later in pairwise(longest[:6]))
    assert 0.9 * SERIAL_CAP_S < longest[-1] <= SERIAL_CAP_S
    assert pauses.failures == 0


def test_a_hundred_thousand_failures_end_neither_the_tries_nor_the_cap() -> None:
    pauses = Pauses(chance=random.Random(2))
    for _ in range(100_000):
        assert 0.0 < pauses.next_s() <= SERIAL_CAP_S
    assert pauses.failures == 100_000


def test_two_links_do_not_try_in_step() -> None:
    one, other = Pauses(chance=random.Random(3)), Pauses(chance=random.Random(4))
    assert [one.next_s() for _ in range(5)] != [other.next_s() for _ in range(5)]


def test_success_begins_anew() -> None:
    pauses = Pauses(chance=random.Random(5), failures=30)
    pauses.succeeded()
    assert pauses.next_s() <= FIRST_S
