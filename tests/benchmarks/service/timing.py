"""Timing of several ways to do one thing, in turns, so that what else the machine does falls on all of them."""

import statistics
import time
from collections.abc import Callable, Mapping


def in_turns(
    ways: Mapping[str, Callable[[], object]], times: int, clock: Callable[[], float] = time.process_time
) -> dict[str, float]:
    """Return the median of the seconds that each way takes.

    Each is run once before, untimed; then all of them in each round, every other round in the opposite order.

    Args:
        ways: What is timed, by name.
        times: Rounds.
        clock: Usually the processor's time of this program, which other programs do not lengthen; a wall clock where
            waiting is a part of what is timed.
    """
    for run in ways.values():
        run()
    taken: dict[str, list[float]] = {name: [] for name in ways}
    for number in range(times):
        for name in list(ways) if number % 2 == 0 else reversed(list(ways)):
            start_s = clock()
            ways[name]()
            taken[name].append(clock() - start_s)
    return {name: statistics.median(seconds) for name, seconds in taken.items()}
