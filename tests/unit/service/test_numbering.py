"""Numbers for readings that have none, and repeats left out, across a restart too."""

from collections.abc import Mapping

import numpy as np

from emberline.bench.samples import FLAG_ARRIVAL_STAMPED, FLAG_UNCHECKED
from emberline.links.arrivals import Lost, Missed, Unnumbered
from emberline.service.numbering import RECENT, Numbering
from emberline.store.store import Store

NOON_NS = 1_790_000_000 * 1_000_000_000


class Nobody:
    def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
        pass


def readings(*seconds: float, flags: int = 0, channel: str = "water", device: str = "urn:x") -> Unnumbered:
    t_ns = np.array([NOON_NS + round(second * 1e9) for second in seconds], dtype=np.int64)
    return Unnumbered(
        device,
        channel,
        t_ns,
        np.array(seconds, dtype=np.float64),
        np.full(len(seconds), flags, dtype=np.uint8),
        Nobody(),
    )


async def stored(store: Store, numbering: Numbering, *batches: Unnumbered) -> list[tuple[int, list[float]] | None]:
    out: list[tuple[int, list[float]] | None] = []
    for one in batches:
        batch = await numbering.numbered(one)
        if batch is not None:
            store.commit("bench", [batch])
        out.append(None if batch is None else (batch.first_seq, batch.raw.tolist()))
    return out


async def test_numbers_go_on_and_a_repeat_is_left_out(store: Store) -> None:
    numbering = Numbering(store, "bench")
    found = await stored(store, numbering, readings(1, 2, 3), readings(3, 4), readings(1, 2), readings(2.5, 3))
    assert found == [(0, [1, 2, 3]), (3, [4]), None, (4, [2.5])]


async def test_a_repeat_on_its_way_to_the_disk_is_left_out_too(store: Store) -> None:
    numbering = Numbering(store, "bench")
    assert await numbering.numbered(readings(1, 2)) is not None
    assert await numbering.numbered(readings(1, 2)) is None


async def test_a_reading_twice_in_one_message_counts_once(store: Store) -> None:
    assert await stored(store, Numbering(store, "bench"), readings(1, 1, 2)) == [(0, [1, 2])]


async def test_after_a_restart_numbers_go_on_and_what_is_stored_is_known(store: Store) -> None:
    await stored(store, Numbering(store, "bench"), readings(1, 2, 3), readings(4, 5))
    found = await stored(store, Numbering(store, "bench"), readings(2, 3), readings(4), readings(5, 6), readings(0.5))
    assert found == [None, None, (5, [6]), (6, [0.5])]


async def test_what_was_numbered_and_never_stored_leaves_no_gap_after_a_restart(store: Store) -> None:
    await Numbering(store, "bench").numbered(readings(1, 2, 3))
    assert await stored(store, Numbering(store, "bench"), readings(1, 2, 3)) == [(0, [1, 2, 3])]
    assert store.missing("urn:x", 0, "water") == []


async def test_channels_and_devices_are_apart(store: Store) -> None:
    numbering = Numbering(store, "bench")
    found = await stored(
        store, numbering, readings(1), readings(1, channel="flame"), readings(1, device="urn:y"), readings(1)
    )
    assert found == [(0, [1]), (0, [1]), (0, [1]), None]


async def test_a_time_of_arrival_names_nothing(store: Store) -> None:
    numbering = Numbering(store, "bench")
    stamped = readings(1, 1, flags=FLAG_ARRIVAL_STAMPED)
    assert await stored(store, numbering, stamped, stamped) == [(0, [1, 1]), (2, [1, 1])]
    assert await stored(store, numbering, readings(1)) == [(4, [1])]


async def test_times_older_than_what_is_remembered_are_looked_up(store: Store) -> None:
    numbering = Numbering(store, "bench")
    await stored(store, numbering, readings(*range(RECENT + 100)))
    assert await stored(store, numbering, readings(5), readings(5.5)) == [None, (RECENT + 100, [5.5])]


async def test_lines_never_come_twice_whatever_their_time(store: Store) -> None:
    line = readings(1, flags=FLAG_UNCHECKED)
    assert await stored(store, Numbering(store, "bench"), line, line) == [(0, [1]), (1, [1])]
    assert await stored(store, Numbering(store, "bench"), line) == [(2, [1])]


async def test_what_was_missed_has_numbers_too(store: Store) -> None:
    numbering = Numbering(store, "bench")
    await stored(store, numbering, readings(1, 2))
    lost = await numbering.skipped(Missed("urn:x", "water", 3, NOON_NS, NOON_NS + 9, "damaged", Nobody()))
    assert lost == Lost("urn:x", 0, "water", 2, 5, NOON_NS, NOON_NS + 9, "damaged")
    assert await stored(store, numbering, readings(6)) == [(5, [6])]
