"""Nothing is lost without a word: what a simulated bench sent is compared with what a store holds."""

from pathlib import Path

from emberline import app
from emberline.store.store import StoreReader
from live_fixture import CHANNELS, DEVICE, DEVICE_NAMES, SimulatedBench


def check(bench: SimulatedBench, data: Path, *, lost: bool | None = None) -> None:
    """Compare the device's tally with the store, boot by boot and stream by stream.

    Args:
        bench: The simulated bench, ended.
        data: The data folder.
        lost: Whether samples must be flagged lost; None where either will do.
    """
    store = StoreReader(data / app.STORE_NAME)
    boots = bench.tally()["boots"]
    flagged = 0
    for index, boot in enumerate(boots):
        for channel in CHANNELS:
            sent = boot["streams"][DEVICE_NAMES.get(channel, channel)]
            stored = store.tally(DEVICE, boot["boot"], channel)
            flagged += stored.lost
            known = stored.stored + stored.lost
            if index == len(boots) - 1:
                assert known == sent["taken"], (channel, stored, sent)
            else:
                # What a device took in the last second before a reset it never sent, and nobody knows of it.
                assert sent["transmitted"] <= known <= sent["taken"], (channel, stored, sent)
    numbers: set[tuple[int, str, int]] = set()
    count = 0
    for batch in store.batches("bench"):
        count += len(batch)
        numbers |= {(batch.boot, batch.channel, seq) for seq in range(batch.first_seq, batch.next_seq)}
    assert len(numbers) == count, "a sample is stored twice"
    assert lost is None or bool(flagged) == lost
