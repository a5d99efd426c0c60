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
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from itertools import accumulate
from typing import Any, NamedTuple, Protocol

import numpy as np
from numpy.typing import NDArray

from emberline.bench.samples import SampleBatch
from emberline.store.errors import StoreDamagedError

CODEC = 2
"""Number of the code that is written; a block of an unknown one is refused."""
READ = (1, CODEC)
SAMPLE_BYTES = 17
"""Of a sample before it is compressed: time, value, flags."""
TOGETHER = 4096
"""Samples that are packed or unpacked together at most, but for a longer stream; what is unpacked stays together."""

Key = tuple[str, int, str]
"""Device, boot and channel of a stream."""


class _Columns(NamedTuple):
    """Samples of one stream."""

    t_ns: NDArray[np.int64]
    raw: NDArray[np.float64]
    flags: NDArray[np.uint8]


class _Samples(Protocol):
    """What has such columns."""

    @property
    def t_ns(self) -> NDArray[np.int64]: ...
    @property
    def raw(self) -> NDArray[np.float64]: ...
    @property
    def flags(self) -> NDArray[np.uint8]: ...


@dataclass(frozen=True, slots=True)
class _LaidOut:
    """A block to be written: its commits by id with the streams that each has parts of, and its streams.

    Attributes:
        order: Id of each commit, and the places of its streams.
        pieces: First sequence number and length of each batch, stream by stream.
        samples: The samples of each stream, in any parts.
    """

    order: list[tuple[int, list[int]]]
    pieces: dict[Key, list[tuple[int, int]]]
    samples: dict[Key, list[_Samples]]


@dataclass(frozen=True, slots=True, eq=False)
class Commit:
    """What one commit stored; ids grow in commit order and stay when blocks are merged."""

    id: int
    batches: tuple[SampleBatch, ...]


def encode(commits: Sequence[Commit]) -> bytes:
    """Return the commits as bytes; the same commits give the same bytes."""
    return encode_each([commits])[0]


def encode_each(blocks: Sequence[Sequence[Commit]]) -> list[bytes]:
    """Return what `encode` does of several blocks: a thousand short ones by few sums over all of them."""
    return _written([_laid_out(commits) for commits in blocks])


def joined(blocks: Sequence[tuple[int, bytes]]) -> bytes:
    """Return several blocks as one, as `encode` would of all their commits: without an object for each batch.

    Raises:
        StoreDamagedError: A block cannot be read.
    """
    with _damage_told():
        return _written([_joined(_read(blocks))])[0]


def decode(payload: bytes, codec: int = CODEC) -> tuple[Commit, ...]:
    """Return the commits of a block.

    Raises:
        StoreDamagedError: The bytes are not a block of a known code.
    """
    return decode_each([(codec, payload)])[0]


def decode_each(blocks: Sequence[tuple[int, bytes]]) -> list[tuple[Commit, ...]]:
    """Return what `decode` does of several blocks, each of a code; raises as that does."""
    with _damage_told():
        return [_commits(opened) for opened in _read(blocks)]


# Writing: a block is its order and its streams, a stream its batches; streams of one length are packed together


def _laid_out(commits: Sequence[Commit]) -> _LaidOut:
    samples: dict[Key, list[_Samples]] = {}
    pieces: dict[Key, list[tuple[int, int]]] = {}
    number: dict[Key, int] = {}
    order: list[tuple[int, list[int]]] = []
    for commit in commits:
        places = []
        for batch in commit.batches:
            key = (batch.device, batch.boot, batch.channel)
            samples.setdefault(key, []).append(batch)
            pieces.setdefault(key, []).append((batch.first_seq, len(batch)))
            places.append(number.setdefault(key, len(number)))
        order.append((commit.id, places))
    return _LaidOut(order, pieces, samples)


def _joined(blocks: Sequence["_Opened"]) -> _LaidOut:
    samples: dict[Key, list[_Samples]] = {}
    pieces: dict[Key, list[tuple[int, int]]] = {}
    number: dict[Key, int] = {}
    order: list[tuple[int, list[int]]] = []
    for block in blocks:
        places = [number.setdefault(stream.key, len(number)) for stream, _ in block.streams]
        for stream, columns in block.streams:
            samples.setdefault(stream.key, []).append(columns)
            pieces.setdefault(stream.key, []).extend(stream.pieces)
        order += [(identity, [places[place] for place in row]) for identity, row in block.order]
    return _LaidOut(order, pieces, samples)


def _written(blocks: Sequence[_LaidOut]) -> list[bytes]:
    packed = iter(_packed([samples for block in blocks for samples in block.samples.values()]))
    return [_block(block, packed) for block in blocks]


def _block(laid_out: _LaidOut, packed: Iterator[tuple[list[Any], bytes]]) -> bytes:
    identities = [0, *(identity for identity, _ in laid_out.order)]
    order = [[identity - last, row] for (identity, row), last in zip(laid_out.order, identities, strict=False)]
    heads, body = [], []
    for ((device, boot, channel), pieces), ((kind, step, pace), data) in zip(
        laid_out.pieces.items(), packed, strict=False
    ):
        befores = [0, *(first_seq + count for first_seq, count in pieces)]
        told = [[first_seq - before, count] for (first_seq, count), before in zip(pieces, befores, strict=False)]
        heads.append([device, boot, channel, kind, told, step, pace])
        body.append(data)
    head = json.dumps([order, heads], separators=(",", ":")).encode()
    return zlib.compress(b"".join([len(head).to_bytes(4, "little"), head, *body]), 6)


def _packed(streams: Sequence[Sequence[_Samples]]) -> list[tuple[list[Any], bytes]]:
    """Return the kind of numbers, the step and the pace of each stream, and its samples."""
    packed: dict[int, tuple[list[Any], bytes]] = {}
    for places in _alike([(sum(len(part.t_ns) for part in parts), True) for parts in streams]):
        rows = [streams[place] for place in places]
        packed.update(zip(places, _packed_rows(rows), strict=True))
    return [packed[place] for place in range(len(streams))]


def _packed_rows(streams: Sequence[Sequence[_Samples]]) -> Iterator[tuple[list[Any], bytes]]:
    """Pack streams of one length, a row each."""
    count = len(streams)
    t_ns = np.concatenate([part.t_ns for parts in streams for part in parts]).astype(np.int64).reshape(count, -1)
    raw = np.concatenate([part.raw for parts in streams for part in parts]).astype(np.float64).reshape(count, -1)
    flags = np.concatenate([part.flags for parts in streams for part in parts]).astype(np.uint8)
    gaps = _differences(t_ns)
    pace = np.sort(gaps)[:, gaps.shape[1] // 2, None]
    gaps -= pace
    step = np.gcd.reduce(gaps, axis=1, keepdims=True)
    step[step == 0] = 1
    # As whole numbers only where that gives back every bit: not for -0.0, NaN and parts of one.
    whole = np.where(np.abs(raw) < 2.0**52, raw, 0.0).astype(np.int64)
    even = (whole.astype(np.float64).view(np.int64) == raw.view(np.int64)).all(axis=1)
    words = np.where(even[:, None], _folded(_differences(whole)), raw.view(np.int64))
    parts = [_shuffled(_folded(gaps // step)), _shuffled(words), flags.reshape(count, -1)]
    data = np.concatenate(parts, axis=1)
    size, together = data.shape[1], data.tobytes()
    heads = zip(np.where(even, "i", "f").tolist(), step[:, 0].tolist(), pace[:, 0].tolist(), strict=True)
    return ((list(head), together[size * row : size * (row + 1)]) for row, head in enumerate(heads))


# Reading, the other way round


@dataclass(frozen=True, slots=True)
class _Stream:
    """A stream as it lies in a block."""

    key: Key
    kind: str
    pieces: list[tuple[int, int]]
    step: int
    pace: int
    relative: bool
    data: bytes


class _Opened(NamedTuple):
    """A block that has been read: its commits by id with the places of their streams, and its streams."""

    order: list[tuple[int, list[int]]]
    streams: list[tuple[_Stream, _Columns]]


def _read(blocks: Sequence[tuple[int, bytes]]) -> list[_Opened]:
    for codec, _ in blocks:
        if codec not in READ:
            raise StoreDamagedError(f"a block has the unknown code {codec}: use a newer Emberline")
    opened = [_opened(zlib.decompress(payload), relative=codec > 1) for codec, payload in blocks]
    unpacked = iter(_unpacked([stream for _, streams in opened for stream in streams]))
    return [_Opened(order, [(stream, next(unpacked)) for stream in streams]) for order, streams in opened]


@contextmanager
def _damage_told() -> Iterator[None]:
    try:
        yield
    except (zlib.error, ValueError, TypeError, LookupError, OverflowError, StopIteration) as exc:
        raise StoreDamagedError(f"a block of samples cannot be read ({exc}): restore the store from a backup") from exc


def _opened(data: bytes, *, relative: bool) -> tuple[list[tuple[int, list[int]]], list[_Stream]]:
    at = 4 + int.from_bytes(data[:4], "little")
    told, heads = json.loads(data[4:at])
    identities = accumulate(identity for identity, _ in told) if relative else (identity for identity, _ in told)
    order = [(identity, row) for identity, (_, row) in zip(identities, told, strict=True)]
    streams = []
    for device, boot, channel, kind, pieces, *even in heads:
        size = SAMPLE_BYTES * sum(count for _, count in pieces)
        step, pace = even if relative else (1, 0)
        places = list(_places(pieces) if relative else map(tuple, pieces))
        streams.append(_Stream((device, boot, channel), kind, places, step, pace, relative, data[at : at + size]))
        if len(streams[-1].data) != size:
            raise ValueError("it ends too early")
        at += size
    return order, streams


def _places(pieces: Sequence[tuple[int, int]]) -> Iterator[tuple[int, int]]:
    """Yield the first number and the length of each piece, of which is told how many are missing before it."""
    next_seq = 0
    for missing, count in pieces:
        yield next_seq + missing, count
        next_seq += missing + count


def _commits(opened: _Opened) -> tuple[Commit, ...]:
    queues = [_batches(stream, columns) for stream, columns in opened.streams]
    return tuple(Commit(identity, tuple(next(queues[stream]) for stream in row)) for identity, row in opened.order)


def _batches(stream: _Stream, columns: _Columns) -> Iterator[SampleBatch]:
    start = 0
    for first_seq, count in stream.pieces:
        cut = slice(start, start + count)
        yield SampleBatch(*stream.key, first_seq, columns.t_ns[cut], columns.raw[cut], columns.flags[cut])
        start += count


def _unpacked(streams: Sequence[_Stream]) -> list[_Columns]:
    """Return the samples of each stream."""
    unpacked: dict[int, _Columns] = {}
    for places in _alike([(len(stream.data) // SAMPLE_BYTES, stream.relative) for stream in streams]):
        rows = [streams[place] for place in places]
        unpacked.update(zip(places, _unpacked_rows(rows), strict=True))
    return [unpacked[place] for place in range(len(streams))]


def _unpacked_rows(streams: Sequence[_Stream]) -> Iterator[_Columns]:
    """Unpack streams of one length and code."""
    count = len(streams)
    data = np.frombuffer(b"".join(stream.data for stream in streams), dtype=np.uint8).reshape(count, -1)
    length = data.shape[1] // SAMPLE_BYTES
    t_ns, words = _unshuffled(data[:, : 8 * length]), _unshuffled(data[:, 8 * length : 16 * length])
    flags = data[:, 16 * length :]
    raw = words.view(np.float64)
    even = np.array([stream.kind == "i" for stream in streams])[:, None]
    if streams[0].relative:
        step = np.array([[stream.step] for stream in streams], dtype=np.int64)
        pace = np.array([[stream.pace] for stream in streams], dtype=np.int64)
        t_ns, words = np.cumsum(_unfolded(t_ns) * step + pace, axis=1), _unfolded(words)
    else:
        t_ns = np.cumsum(np.cumsum(t_ns, axis=1), axis=1)
    raw = np.where(even, np.cumsum(words, axis=1).astype(np.float64), raw)
    return map(_Columns, t_ns, raw, flags)


def _alike(kinds: Sequence[tuple[int, bool]]) -> Iterator[list[int]]:
    """Yield the places of streams of one length and code, some of them at a time."""
    places: dict[tuple[int, bool], list[int]] = {}
    for place, kind in enumerate(kinds):
        places.setdefault(kind, []).append(place)
    for (length, _), same in places.items():
        some = max(1, TOGETHER // max(1, length))
        for start in range(0, len(same), some):
            yield same[start : start + some]


def _differences(values: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.diff(values, axis=1, prepend=np.int64(0))


def _folded(values: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return 0, -1, 1, -2, 2 ... as 0, 1, 2, 3, 4 ..., any 64 bits as others."""
    folded: NDArray[np.int64] = (values << 1) ^ (values >> 63)
    return folded


def _unfolded(folded: NDArray[np.int64]) -> NDArray[np.int64]:
    return (folded.view(np.uint64) >> np.uint64(1)).view(np.int64) ^ -(folded & 1)


def _shuffled(words: NDArray[np.int64]) -> NDArray[np.uint8]:
    """Return the bytes of each row, those of equal weight together."""
    little = np.ascontiguousarray(words, dtype="<i8")
    return little.view(np.uint8).reshape(len(words), -1, 8).transpose(0, 2, 1).reshape(len(words), -1)


def _unshuffled(planes: NDArray[np.uint8]) -> NDArray[np.int64]:
    words = np.ascontiguousarray(planes.reshape(len(planes), 8, -1).transpose(0, 2, 1))
    return words.view("<i8")[:, :, 0].astype(np.int64)
