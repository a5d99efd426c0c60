"""The ring of a board against what it was given, on this machine's own processor."""

import ctypes
import shutil
import subprocess
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

SOURCES = Path(__file__).parents[3] / "firmware_protocol" / "firmware" / "emberline_bench"
STREAMS = 5
WIDE = 0b00001
MASK = 0x7FFFFFF
LEAST, MOST = (-(1 << 15), -(1 << 23)), ((1 << 15) - 1, (1 << 23) - 1)


class Stream(ctypes.Structure):
    _fields_ = (
        ("taken", ctypes.c_uint32),
        ("kept", ctypes.c_uint16),
        ("unacknowledged", ctypes.c_uint16),
        ("unsent", ctypes.c_uint16),
        ("unheard", ctypes.c_uint16),
    )


class Sample(ctypes.Structure):
    _fields_ = (
        ("steps", ctypes.c_uint32),
        ("at", ctypes.c_uint16),
        ("stream", ctypes.c_uint8),
        ("has_faults", ctypes.c_bool),
    )


class Place(ctypes.Structure):
    _fields_ = (("at", ctypes.c_uint16), ("left", ctypes.c_uint16), ("steps", ctypes.c_uint32))


class Ring:
    """The compiled ring, with all that was ever put into it beside it."""

    def __init__(self, library: ctypes.CDLL) -> None:
        self._c = library
        self._c.ring_next.restype = self._c.ring_due.restype = self._c.ring_until.restype = ctypes.c_bool
        self._c.ring_faults.restype = ctypes.c_uint8
        self._c.ring_begin(WIDE)
        self.streams = (Stream * STREAMS).in_dll(library, "ring_streams")
        self.put: list[list[tuple[int, int, int]]] = [[] for _ in range(STREAMS)]

    @property
    def lost(self) -> int:
        return ctypes.c_uint32.in_dll(self._c, "ring_lost").value

    def keep(self, stream: int, steps: int, value: int, faults: int) -> None:
        self.put[stream].append((steps & MASK, value, faults))
        self._c.ring_put(stream, ctypes.c_uint32(steps & MASK), value, faults)

    def acknowledge(self, stream: int, wanted: int) -> None:
        self._c.ring_acknowledge(stream, ctypes.c_uint32(wanted))

    def rewind(self, stream: int, wanted: int) -> None:
        self._c.ring_rewind(stream, ctypes.c_uint32(wanted))

    def sent(self, stream: int, count: int) -> None:
        self._c.ring_sent(stream, count)

    def due(self, until: int) -> tuple[int, int, Place] | None:
        place, stream, number = Place(), ctypes.c_uint8(), ctypes.c_uint32()
        found = self._c.ring_due(until, ctypes.byref(place), ctypes.byref(stream), ctypes.byref(number))
        return (stream.value, number.value, place) if found else None

    def after(self, place: Place) -> Iterator[tuple[int, tuple[int, int, int]]]:
        sample = Sample()
        while self._c.ring_next(ctypes.byref(place), ctypes.byref(sample)):
            value, faults = self._c.ring_value(ctypes.byref(sample)), self._c.ring_faults(ctypes.byref(sample))
            yield sample.stream, (sample.steps, value, faults)

    def kept(self) -> list[list[tuple[int, int, int]]]:
        """Return what a walk from the oldest sample finds, by stream."""
        for i in range(STREAMS):
            self.rewind(i, 0)
        found: list[list[tuple[int, int, int]]] = [[] for _ in range(STREAMS)]
        newest = max((samples[-1][0] for samples in self.put if samples), default=0)
        due = self.due((newest + (1 << 20)) & MASK)
        if due is not None:
            for stream, sample in self.after(due[2]):
                found[stream].append(sample)
        return found


@pytest.fixture
def ring(tmp_path: Path) -> Ring:
    gcc = shutil.which("gcc")
    if gcc is None:
        pytest.skip("no gcc on this machine: deploy/debian-packages gcc libc6-dev")
    # A library of each test's own: the ring is one for a whole program.
    library = tmp_path / "ring.so"
    words = ["-std=gnu11", "-Wall", "-Wextra", "-Werror", "-shared", "-fPIC", "-O1", f"-I{SOURCES}"]
    subprocess.run([gcc, *words, SOURCES / "ring.c", "-o", library], check=True)
    return Ring(ctypes.CDLL(str(library)))


def test_samples_come_back_as_they_were_put_at_every_extreme(ring: Ring) -> None:
    steps = 5
    for stream in (0, 1):
        for value in (LEAST[stream == 0], -1, 0, 1, MOST[stream == 0]):
            for faults in (0, 1, 255):
                for later in (0, 3_455, 3_456, 1 << 20, -600, -2_000):
                    steps += later
                    ring.keep(stream, steps, value, faults)
    kept = ring.kept()
    assert all(kept[i] == ring.put[i][len(ring.put[i]) - len(kept[i]) :] for i in range(STREAMS))
    assert len(kept[0]) + len(kept[1]) > 100


@pytest.mark.parametrize("seed", range(6))
def test_whatever_happens_the_newest_are_kept_and_the_rest_is_accounted_for(ring: Ring, seed: int) -> None:
    rng = np.random.default_rng(seed)
    steps = int(rng.integers(0, MASK))
    acknowledged, sent = [0] * STREAMS, [0] * STREAMS
    for _ in range(3_000):
        stream = int(rng.integers(STREAMS))
        known = ring.streams[stream]
        match rng.choice(["put", "put", "put", "send", "acknowledge", "rewind"]):
            case "put":
                steps += int(rng.choice([0, 40, 800, 3_000, 9_000, -500]))
                value = int(rng.integers(LEAST[stream == 0], MOST[stream == 0] + 1))
                ring.keep(stream, steps, value, int(rng.choice([0, 0, 0, 1, 24])))
            case "send":
                due = ring.due(steps & MASK)
                if due is not None:
                    stream, number, place = due
                    first = next(sample for which, sample in ring.after(place) if which == stream)
                    assert first == ring.put[stream][number]
                    count = int(rng.integers(1, ring.streams[stream].unsent + 1))
                    ring.sent(stream, min(count, 255))
                    sent[stream] = max(sent[stream], number + min(count, 255))
            case "acknowledge":
                wanted = int(rng.integers(0, known.taken + 3))
                ring.acknowledge(stream, wanted)
                if acknowledged[stream] < wanted <= sent[stream]:
                    acknowledged[stream] = wanted
            case "rewind":
                ring.rewind(stream, int(rng.integers(0, known.taken + 3)))
    lost = 0
    for i, stream in enumerate(ring.streams):
        assert stream.taken == len(ring.put[i])
        assert stream.taken - stream.unacknowledged == acknowledged[i]
        assert stream.taken - stream.unheard == sent[i]
        assert stream.unsent <= stream.kept
        lost += max(0, len(ring.put[i]) - stream.kept - acknowledged[i])
    assert ring.lost >= lost
    kept = ring.kept()
    for i, stream in enumerate(ring.streams):
        assert kept[i] == ring.put[i][len(ring.put[i]) - stream.kept :]


def test_what_a_host_stores_is_forgotten_at_once_and_nothing_is_lost(ring: Ring) -> None:
    for turn in range(2_000):
        for stream in range(STREAMS):
            ring.keep(stream, turn * 3_125, turn % 1_000, 0)
        if turn % 20 == 19:
            while (due := ring.due(turn * 3_125 & MASK)) is not None:
                ring.sent(due[0], min(ring.streams[due[0]].unsent, 255))
            for stream in range(STREAMS):
                ring.acknowledge(stream, ring.streams[stream].taken)
            assert [stream.kept for stream in ring.streams] == [0] * STREAMS
    assert ring.lost == 0


def test_an_acknowledgement_of_what_was_never_sent_is_not_believed(ring: Ring) -> None:
    ring.keep(1, 0, 7, 0)
    ring.acknowledge(1, 1)
    assert ring.streams[1].kept == 1
    ring.sent(1, 1)
    ring.acknowledge(1, 1)
    assert ring.streams[1].kept == 0
