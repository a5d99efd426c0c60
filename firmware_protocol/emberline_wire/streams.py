"""One stream's samples put in order: duplicates dropped, holes waited for, losses stated."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from emberline_wire.device_messages import Samples

MAX_HELD = 64
"""Frames held back behind a hole: four a second for 16 s. More are dropped, and come again: no ack covers them."""


class Loss(StrEnum):
    """Why samples are lost for good."""

    OVERRUN = "overrun"
    """The device overwrote them before they were acknowledged."""
    REBOOT = "reboot"
    """The device restarted before it could send them again."""
    BEFORE_CONTACT = "before-contact"
    """The device overwrote them before the host first heard of this boot."""


@dataclass(frozen=True, slots=True)
class Hole:
    """Samples `first` to `last`, both included, that will not come any more."""

    first: int
    last: int
    loss: Loss


class StreamOrder:
    """Puts the frames of one stream of one boot in order.

    Attributes:
        wanted: Sequence number of the next sample to be passed on.
        duplicates: Samples that came more than once.
        set_aside: Samples dropped because too much waited behind a hole; the device still has them.

    """

    def __init__(self, wanted: int | None = None) -> None:
        """Start at `wanted`, or, for a boot never heard of, at whatever the device still has."""
        self.wanted = wanted or 0
        self.duplicates = 0
        self.set_aside = 0
        self._first_contact = wanted is None
        self._held: dict[int, Samples] = {}

    @property
    def waiting(self) -> bool:
        """Whether frames are held back behind a hole that may still be filled."""
        return bool(self._held)

    def take(self, frame: Samples) -> list[Samples | Hole]:
        """Take in a frame and return what is now in order: frames without gap or overlap, and holes between them."""
        if frame.first_seq == self.wanted and not self._held:
            # Nothing is missing before it, for an oldest number beyond its first is no message.
            self._first_contact = False
            self.wanted = frame.next_seq
            return [frame]
        out = self._give_up_before(frame.oldest_seq, Loss.BEFORE_CONTACT if self._first_contact else Loss.OVERRUN)
        self._first_contact = False
        if frame.first_seq > self.wanted:
            self._hold(frame)
        else:
            out += self._pass_on(frame)
            out += self._release()
        return out

    def finish(self) -> list[Samples | Hole]:
        """Return what was held back, with the holes before it given up: this boot will send no more."""
        out = self._release()
        while self._held:
            out += self._give_up_before(min(self._held), Loss.REBOOT)
        return out

    def _give_up_before(self, seq: int, loss: Loss) -> list[Samples | Hole]:
        out: list[Samples | Hole] = []
        while self.wanted < seq:
            stop = min([seq, *self._held])
            if self.wanted < stop:
                out.append(Hole(self.wanted, stop - 1, loss))
                self.wanted = stop
            out += self._release()
        return out

    def _hold(self, frame: Samples) -> None:
        held = self._held.get(frame.first_seq)
        if held is not None:
            self.duplicates += min(len(held), len(frame))
        if held is None and len(self._held) >= MAX_HELD:
            self.set_aside += len(frame)
        elif held is None or len(frame) > len(held):
            self._held[frame.first_seq] = frame

    def _release(self) -> list[Samples | Hole]:
        out: list[Samples | Hole] = []
        while self._held and (first := min(self._held)) <= self.wanted:
            out += self._pass_on(self._held.pop(first))
        return out

    def _pass_on(self, frame: Samples) -> list[Samples | Hole]:
        fresh = frame.next_seq - self.wanted
        self.duplicates += min(len(frame), len(frame) - fresh)
        if fresh <= 0:
            return []
        self.wanted = frame.next_seq
        return [frame if fresh == len(frame) else _tail(frame, fresh)]


def _tail(frame: Samples, count: int) -> Samples:
    """Return the last `count` samples of `frame` as a frame of their own."""
    cut = len(frame) - count
    offset_us = int(frame.offsets_us()[cut])
    offsets = None if frame.offsets is None else (frame.offsets[cut:] - frame.offsets[cut]).astype(np.uint16)
    return Samples(
        boot=frame.boot,
        stream=frame.stream,
        first_seq=frame.first_seq + cut,
        ticks=(frame.ticks + offset_us) & 0xFFFF_FFFF,
        values=frame.values[cut:],
        oldest_seq=min(frame.oldest_seq, frame.first_seq + cut),
        period_us=frame.period_us,
        offsets=offsets,
        faults=None if frame.faults is None else frame.faults[cut:],
    )
