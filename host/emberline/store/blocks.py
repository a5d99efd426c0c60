"""The code of a block: the sample batches of one or more commits as one compressed run of bytes.

A block keeps the batches of every commit in their order, so that a replay sees what the live run saw. Samples lie
stream by stream: times as first differences less the stream's usual one, counted in the greatest step that fits them
all; whole numbers as first differences; other numbers as they are. Differences are folded, so that small ones of either
sign have zeros in their upper bytes; bytes of equal weight lie together, then zlib, whose checksum shows damage.
Numbers of commits and samples are told as what lies between them and those before: nothing where nothing is missing.

Code 1, which is still read, had second differences of times in nanoseconds, did not fold, and told numbers as they are.
"""

import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

import numpy as np
from numpy.typing import NDArray

from emberline.bench.samples import SampleBatch
from emberline.store.errors import StoreDamagedError

CODEC = 2
"""Number of the code that is written; a block of an unknown one is refused."""
READ = (1, CODEC)


@dataclass(frozen=True, slots=True, eq=False)
class Commit:
    """What one commit stored; ids grow in commit order and stay when blocks are merged."""

    id: int
    batches: tuple[SampleBatch, ...]


def encode(commits: Sequence[Commit]) -> bytes:
    """Return the commits as bytes; the same commits give the same bytes."""
    streams: dict[tuple[str, int, str], list[SampleBatch]] = {}
    number: dict[tuple[str, int, str], int] = {}
    order: list[tuple[int, list[int]]] = []
    last = 0
    for commit in commits:
        for batch in commit.batches:
            key = (batch.device, batch.boot, batch.channel)
            number.setdefault(key, len(number))
            streams.setdefault(key, []).append(batch)
        places = [number[batch.device, batch.boot, batch.channel] for batch in commit.batches]
        order.append((commit.id - last, places))
        last = commit.id
    heads, body = [], []
    for (device, boot, channel), batches in streams.items():
        raw, kind = _packed_numbers(np.concatenate([batch.raw for batch in batches]))
        time = np.concatenate([batch.t_ns for batch in batches]).astype(np.int64)
        gaps = _differences(time)
        pace = int(np.sort(gaps)[len(gaps) // 2])
        step = int(np.gcd.reduce(gaps - pace)) or 1
        body += [_shuffled(_folded((gaps - pace) // step)), raw]
        body.append(np.concatenate([batch.flags for batch in batches]).astype(np.uint8).tobytes())
        befores = [0, *(batch.next_seq for batch in batches)]
        pieces = [[batch.first_seq - before, len(batch)] for batch, before in zip(batches, befores, strict=False)]
        heads.append([device, boot, channel, kind, pieces, step, pace])
    head = json.dumps([order, heads], separators=(",", ":")).encode()
    return zlib.compress(b"".join([len(head).to_bytes(4, "little"), head, *body]), 6)


def decode(payload: bytes, codec: int = CODEC) -> tuple[Commit, ...]:
    """Return the commits of a block.

    Raises:
        StoreDamagedError: The bytes are not a block of a known code.
    """
    if codec not in READ:
        raise StoreDamagedError(f"a block has the unknown code {codec}: use a newer Emberline")
    try:
        return _decoded(zlib.decompress(payload), relative=codec > 1)
    except (zlib.error, ValueError, TypeError, StopIteration) as exc:
        raise StoreDamagedError(f"a block of samples cannot be read ({exc}): restore the store from a backup") from exc


def _decoded(data: bytes, *, relative: bool) -> tuple[Commit, ...]:
    unfolded = _unfolded if relative else _as_they_are
    at = 4 + int.from_bytes(data[:4], "little")
    order, heads = json.loads(data[4:at])
    queues = []
    for device, boot, channel, kind, pieces, *even in heads:
        n = sum(count for _, count in pieces)
        time = _unshuffled(data[at : at + 8 * n])
        if relative:
            step, pace = even
            time = np.cumsum(unfolded(time) * step + pace)
        else:
            time = np.cumsum(np.cumsum(time))
        words = _unshuffled(data[at + 8 * n : at + 16 * n])
        raw = np.cumsum(unfolded(words)).astype(np.float64) if kind == "i" else words.view(np.float64)
        flags = np.frombuffer(data[at + 16 * n : at + 17 * n], dtype=np.uint8)
        if len(flags) != n:
            raise ValueError("it ends too early")
        at += 17 * n
        queue, start, next_seq = [], 0, 0
        for told, count in pieces:
            first_seq = told + next_seq if relative else told
            next_seq = first_seq + count
            cut = slice(start, start + count)
            queue.append(SampleBatch(device, boot, channel, first_seq, time[cut], raw[cut], flags[cut]))
            start += count
        queues.append(iter(queue))
    identities = accumulate(told for told, _ in order) if relative else (told for told, _ in order)
    return tuple(
        Commit(identity, tuple(next(queues[stream]) for stream in row))
        for identity, (_, row) in zip(identities, order, strict=True)
    )


def _packed_numbers(values: NDArray[np.float64]) -> tuple[bytes, str]:
    """Return numbers as bytes; as whole numbers only where that gives back every bit."""
    values = np.ascontiguousarray(values, dtype=np.float64)
    if np.all(np.abs(values) < 2.0**52):  # false for NaN
        whole = values.astype(np.int64)
        if whole.astype(np.float64).tobytes() == values.tobytes():  # false for -0.0 and for parts of one
            return _shuffled(_folded(_differences(whole))), "i"
    return _shuffled(values), "f"


def _differences(values: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.diff(values, prepend=np.int64(0))


def _folded(values: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return 0, -1, 1, -2, 2 ... as 0, 1, 2, 3, 4 ..., any 64 bits as others."""
    folded: NDArray[np.int64] = (values << 1) ^ (values >> 63)
    return folded


def _unfolded(folded: NDArray[np.int64]) -> NDArray[np.int64]:
    return (folded.view(np.uint64) >> np.uint64(1)).view(np.int64) ^ -(folded & 1)


def _as_they_are(values: NDArray[np.int64]) -> NDArray[np.int64]:
    return values


def _shuffled(words: NDArray[np.int64] | NDArray[np.float64]) -> bytes:
    little = np.ascontiguousarray(words, dtype=words.dtype.newbyteorder("<"))
    return little.view(np.uint8).reshape(-1, 8).T.tobytes()


def _unshuffled(data: bytes) -> NDArray[np.int64]:
    planes = np.frombuffer(data, dtype=np.uint8).reshape(8, -1)
    return np.ascontiguousarray(planes.T).reshape(-1).view("<i8").astype(np.int64)
