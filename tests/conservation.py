"""The two things that always hold, looked at after any fault: nothing is lost without a word, and a replay agrees.

Conservation compares what a simulated bench sent with what a store holds. Replay works a trial out anew from its stored
samples, and plays its commits to a live run again.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from emberline import app
from emberline.app.stored import analysis_of
from emberline.curves.events import Event, EventKind, Retraction
from emberline.service.watch import Watch
from emberline.store.reader import StoreReader
from emberline.trials.documents import document_json, summary_document
from live_fixture import CHANNELS, DEVICE, DEVICE_NAMES, SimulatedBench
from stored_burn import Followed


@dataclass(frozen=True)
class Account:
    """Where a bench's samples went.

    Attributes:
        taken: Samples that the device took.
        stored: Samples stored.
        lost: Samples flagged lost.
        unaccounted: Samples neither stored nor flagged, or both, or never taken.
        unheard: Samples that a device had sent before it restarted and that never came, so that nobody here can know
            of them: none unless its line was out or spoilt at that moment.
        doubled: Samples stored more than once.
        unnamed: Losses that lack a start, an end or a cause.
        boots: Boots of the device.
        causes: Why samples were lost.
    """

    taken: int
    stored: int
    lost: int
    unaccounted: int
    unheard: int
    doubled: int
    unnamed: int
    boots: int
    causes: frozenset[str]


def account(bench: SimulatedBench, data: Path, bench_id: str = "bench") -> Account:
    """Compare the tally of a bench that has ended with the store, boot by boot and stream by stream."""
    store = StoreReader(data / app.STORE_NAME)
    boots = bench.tally()["boots"]
    taken = stored = lost = unaccounted = unheard = 0
    for index, boot in enumerate(boots):
        for channel in CHANNELS:
            sent = boot["streams"][DEVICE_NAMES.get(channel, channel)]
            found = store.tally(f"{bench_id}/{DEVICE}", boot["boot"], channel)
            known = found.stored + found.lost
            unaccounted += max(0, known - sent["taken"])
            if index == len(boots) - 1:
                unaccounted += max(0, sent["taken"] - known)
            else:
                # What a device took in the last second before a reset it never sent, and nobody knows of it.
                unaccounted += max(0, sent["acknowledged"] - known)
                unheard += max(0, sent["transmitted"] - max(known, sent["acknowledged"]))
            taken, stored, lost = taken + sent["taken"], stored + found.stored, lost + found.lost
    numbers: set[tuple[int, str, int]] = set()
    count = 0
    for batch in store.batches(bench_id):
        count += len(batch)
        numbers |= {(batch.boot, batch.channel, seq) for seq in range(batch.first_seq, batch.next_seq)}
    gaps = store.gaps(bench_id)
    unnamed = sum(not gap.reason or gap.end_ns < gap.start_ns or gap.start_ns <= 0 for gap in gaps)
    causes = frozenset(gap.reason for gap in gaps)
    return Account(taken, stored, lost, unaccounted, unheard, count - len(numbers), unnamed, len(boots), causes)


def check(bench: SimulatedBench, data: Path, bench_id: str = "bench", *, lost: bool | None = None) -> Account:
    """Have conservation hold.

    Args:
        bench: The simulated bench, ended.
        data: The data folder.
        bench_id: Id of the bench.
        lost: Whether samples must be flagged lost; None where either will do.
    """
    found = account(bench, data, bench_id)
    assert found.taken > 0
    assert (found.unaccounted, found.unheard, found.doubled, found.unnamed) == (0, 0, 0, 0), found
    assert lost is None or bool(found.lost) == lost, found
    return found


def check_replay(data: Path, bench_id: str = "bench") -> list[str]:
    """Have the replay of a bench's last trial agree: the final pass gives the same bytes, the live run says the same.

    Returns:
        The kinds of the events in its summary.
    """
    store = StoreReader(data / app.STORE_NAME)
    trial = [one for one in store.trials() if one.bench == bench_id][-1]
    kept = store.summary(trial.id)
    assert kept is not None, "no summary was kept"
    assert document_json(summary_document(analysis_of(store, trial))) == kept.document, "another final pass"
    events = store.events(trial.id)
    said = _moments(events, store.retractions(trial.id))
    live = Followed(store.path, trial.bench)
    live.begin(Watch(trial.bench, trial.bench_text, trial.start_ns, trial.plan_text))
    while (turn := live.turn()).more or turn.said:
        pass
    again = _moments(turn.announced, turn.retracted)
    assert again == said, f"the live run says something else: {sorted(again ^ said)}"
    return [one.kind.value for one in events]


def _moments(events: Sequence[Event], retracted: Sequence[Retraction]) -> set[tuple[str, float]]:
    """Return what a live run announced and when; a person's notes are no findings of its own."""
    said: list[Event | Retraction] = [*(one for one in events if one.kind is not EventKind.NOTE), *retracted]
    return {(one.kind.value, one.announced_t_s) for one in said if one.announced_t_s is not None}
