"""What a session reports to its host."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from emberline_wire.channels import Channel
from emberline_wire.device_messages import Hello, Status
from emberline_wire.streams import Loss


@dataclass(frozen=True, slots=True)
class Greeted:
    """The device said who it is and is accepted; also when its channel table has changed."""

    hello: Hello


@dataclass(frozen=True, slots=True)
class Rebooted:
    """The device restarted; no sample of the old boot comes after this.

    Attributes:
        old_boot, boot: Boot ids before and after.
        ended: For each stream number of the old boot, the sequence number at which its samples end. What the device
            took after that and before it restarted is lost, and how much it was nobody knows.

    """

    old_boot: int
    boot: int
    ended: Mapping[int, int]


@dataclass(frozen=True, slots=True)
class Refused:
    """The peer may not be listened to; `why` says what to do. Repeated only for another reason or on a new link."""

    why: str


@dataclass(frozen=True, slots=True, eq=False)
class Readings:
    """Samples of one channel, in order, without overlap or gap to those before them save for a `Gap` reported.

    Attributes:
        device: Device id.
        boot: Boot id.
        channel: The channel, with its nominal conversion.
        first_seq: Sequence number of the first sample.
        t_ns: (n,) int64, host time of each sample in nanoseconds, never decreasing within a channel.
        raw: (n,) float64, raw values.
        faults: (n,) uint8, bits of `Fault`.

    """

    device: str
    boot: int
    channel: Channel
    first_seq: int
    t_ns: NDArray[np.int64]
    raw: NDArray[np.float64]
    faults: NDArray[np.uint8]

    def __len__(self) -> int:
        return len(self.raw)

    @property
    def next_seq(self) -> int:
        """Sequence number that follows the last sample; once stored, it is what to give to `Session.committed`."""
        return self.first_seq + len(self.raw)


@dataclass(frozen=True, slots=True)
class Gap:
    """Samples `first` to `last`, both included, of a channel are lost for good."""

    device: str
    boot: int
    channel: Channel
    first: int
    last: int
    loss: Loss

    @property
    def next_seq(self) -> int:
        """Sequence number that follows the gap; once noted, it is what to give to `Session.committed`."""
        return self.last + 1


@dataclass(frozen=True, slots=True)
class StatusCame:
    """The device said how it is."""

    status: Status


Event = Greeted | Rebooted | Refused | Readings | Gap | StatusCame


@dataclass(frozen=True, slots=True)
class Standing:
    """How far a device's samples are stored: all that a new session needs to go on where another ended.

    Attributes:
        device: Device id.
        boot: Boot id.
        wanted: For each stream number the sequence number after the last one stored.
        clock: The clock's state, plain data.

    """

    device: str
    boot: int
    wanted: Mapping[int, int]
    clock: Mapping[str, Any] = field(repr=False)


@dataclass(slots=True)
class SessionCounters:
    """What a session discarded or put right, beyond what its frame decoder counts.

    Attributes:
        unconfirmed: Messages that came before the peer had said who it is, or of a boot not greeted yet.
        malformed: Items of bodies that are no valid message.
        unknown: Messages of a type that this version does not know.
        misdirected: Messages that only a host sends.
        unknown_streams: Sample frames of a stream that is not in the channel table.
        duplicates: Samples that came more than once.
        set_aside: Samples dropped behind a hole for want of room; the device sends them again.
        backwards: Frames whose device times ran backwards; they were held at the time before.
        stray_pongs: Pongs to no ping of this session.

    """

    unconfirmed: int = 0
    malformed: int = 0
    unknown: int = 0
    misdirected: int = 0
    unknown_streams: int = 0
    duplicates: int = 0
    set_aside: int = 0
    backwards: int = 0
    stray_pongs: int = 0
