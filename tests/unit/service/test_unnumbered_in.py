"""Messages without numbers on their way to the store."""

import asyncio
from collections.abc import Mapping

import numpy as np
import pytest

from emberline.bench.samples import SampleBatch
from emberline.links.arrivals import Missed, Unnumbered
from emberline.service import unnumbered_in
from emberline.service.clock import real_clock
from emberline.service.ingest import Ingest
from emberline.service.intake import IngestCounts, Intake
from emberline.service.numbering import Numbering
from emberline.service.unnumbered_in import UnnumberedIn
from emberline.store.errors import StoreError
from emberline.store.store import Store
from unit.service.meanwhile import meanwhile

NOON_NS = 1_790_000_000 * 1_000_000_000


class Teller:
    def __init__(self) -> None:
        self.told = 0

    def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
        self.told += 1


def part(teller: Teller, channel: str, *seconds: int) -> Unnumbered:
    t_ns = NOON_NS + np.array(seconds, dtype=np.int64) * 1_000_000_000
    return Unnumbered(
        "urn:x", channel, t_ns, np.array(seconds, dtype=np.float64), np.zeros(len(seconds), np.uint8), teller
    )


async def stored(store: Store, *messages: list[Unnumbered | Missed]) -> Intake:
    ingest = Ingest(store, real_clock())
    intake = ingest.of("bench", IngestCounts(), lambda _: None)
    way = UnnumberedIn(Numbering(store, "bench"), intake, intake.counts)
    for message in messages:
        await way.take(message)
    async with meanwhile(ingest.run()):
        assert await intake.emptied(10.0)
    return intake


async def test_a_message_is_acknowledged_once_when_all_its_readings_are_on_disk(store: Store) -> None:
    teller = Teller()
    intake = await stored(store, [part(teller, "water", 1, 2), part(teller, "mass", 1)])
    assert teller.told == 1
    assert (intake.counts.committed, intake.counts.repeated) == (3, 0)


async def test_a_message_that_brings_nothing_new_is_acknowledged_at_once_and_counted(store: Store) -> None:
    first, second = Teller(), Teller()
    intake = await stored(store, [part(first, "water", 1, 2)], [part(second, "water", 1, 2)])
    assert (first.told, second.told) == (1, 1)
    assert (intake.counts.committed, intake.counts.repeated) == (2, 2)


async def test_a_store_that_cannot_be_read_for_a_while_is_asked_again(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Balking(Numbering):
        asked = 0

        async def numbered(self, readings: Unnumbered) -> SampleBatch | None:
            self.asked += 1
            if self.asked < 3:
                raise StoreError("locked")
            return await super().numbered(readings)

    monkeypatch.setattr(unnumbered_in, "TRY_AGAIN_S", 0.0)
    intake = Ingest(store, real_clock()).of("bench", IngestCounts(), lambda _: None)
    numbering = Balking(store, "bench")
    async with asyncio.timeout(5.0):
        await UnnumberedIn(numbering, intake, intake.counts).take([part(Teller(), "water", 1)])
    assert numbering.asked == 3


async def test_what_was_missed_between_two_readings_is_flagged_lost(store: Store) -> None:
    teller = Teller()
    missed = Missed("urn:x", "water", 3, NOON_NS, NOON_NS + 5_000_000_000, "damaged", teller)
    intake = await stored(store, [part(teller, "water", 1, 2), missed, part(teller, "water", 6)])
    assert (intake.counts.committed, intake.counts.lost, intake.counts.repeated) == (3, 3, 0)
    assert store.tally("urn:x", 0, "water").lost == 3
    assert store.missing("urn:x", 0, "water") == []
