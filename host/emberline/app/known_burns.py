"""Whether a store has the readings of a recording already."""

from collections.abc import Iterable, Iterator
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from emberline.bench.samples import SampleBatch
from emberline.links.replay import Recording
from emberline.store.pack import commits_in
from emberline.store.reader import StoreReader
from emberline.store.records import Trial
from emberline.store.trial_documents import TrialDocuments

Readings = dict[str, tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.uint8]]]
"""Times from the first sample, raw values and flags by channel."""


def known_recording(store: Path, recording: Recording, bench_text: str) -> Trial | None:
    """Return the imported trial that has exactly these readings, whatever the file was called; None where none has.

    Args:
        store: File of the store; it need not exist.
        recording: The readings.
        bench_text: The bench file by which they are read: with another one, they are another trial.

    Raises:
        StoreError: The store cannot be read.
    """
    readings: Readings | None = None
    for trial in _candidates(store, recording.end_ns - recording.start_ns):
        if trial.origin != "import" or trial.packed or trial.bench_text != bench_text:
            continue
        if trial.relative != recording.relative or not (trial.relative or trial.start_ns == recording.start_ns):
            continue
        readings = readings or _readings(recording.batches.values(), recording.start_ns)
        if _same(readings, _readings(StoreReader(store).trial_batches(trial), trial.start_ns)):
            return trial
    return None


def known_pack(store: Path, source: Path, packed: TrialDocuments) -> Trial | None:
    """Return the trial that a pack holds, be it that from which it was made or an earlier import; None without one.

    Args:
        store: File of the store; it need not exist.
        source: The pack.
        packed: Its documents.

    Raises:
        PackError: Its samples are damaged.
        StoreError: The store cannot be read.
    """
    start_ns, readings = int(packed.head["start_ns"]), None
    for trial in _candidates(store, int(packed.head["end_ns"]) - start_ns):
        if (trial.bench, trial.start_ns) != (packed.head["bench"], start_ns):
            continue
        readings = readings or _readings((batch for one in commits_in(source) for batch in one.batches), start_ns)
        if _same(readings, _readings(StoreReader(store).trial_batches(trial), start_ns)):
            return trial
    return None


def _candidates(store: Path, length_ns: int) -> Iterator[Trial]:
    """Yield the ended trials of a length: few others have it, and no sample need be read of those."""
    if store.exists():
        for trial in StoreReader(store).trials():
            if trial.end_ns is not None and trial.end_ns - trial.start_ns == length_ns:
                yield trial


def _readings(batches: Iterable[SampleBatch], start_ns: int) -> Readings:
    parts: dict[str, list[SampleBatch]] = {}
    for batch in batches:
        parts.setdefault(batch.channel, []).append(batch)
    return {
        channel: (
            np.concatenate([one.t_ns for one in some]) - start_ns,
            np.concatenate([one.raw for one in some]),
            np.concatenate([one.flags for one in some]),
        )
        for channel, some in parts.items()
    }


def _same(one: Readings, other: Readings) -> bool:
    return one.keys() == other.keys() and all(
        np.array_equal(t_ns, other[channel][0])
        and np.array_equal(raw, other[channel][1], equal_nan=True)
        and np.array_equal(flags, other[channel][2])
        for channel, (t_ns, raw, flags) in one.items()
    )
