"""What goes wrong on the line between device and host: when, for how long, how badly. Seeded, by simulated time."""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from emberline_sim.errors import FaultError


class FaultKind(StrEnum):
    """Ways in which a link fails."""

    UNPLUG = "unplug"
    """The plug is out for some seconds; the device runs on."""
    REBOOT = "reboot"
    """The device restarts."""
    JUNK = "junk"
    """Bytes that are no frames."""
    BITS = "bits"
    """Each bit is flipped with a probability."""
    LOSE = "lose"
    """Each byte is lost with a probability."""
    DOUBLE = "double"
    """Each byte comes twice with a probability."""


MEANING: dict[str, str] = {
    FaultKind.UNPLUG: "unplug@START:SECONDS",
    FaultKind.REBOOT: "reboot@TIME",
    FaultKind.JUNK: "junk@TIME:BYTES",
    FaultKind.BITS: "bits@START-END:PROBABILITY",
    FaultKind.LOSE: "lose@START-END:PROBABILITY",
    FaultKind.DOUBLE: "double@START-END:PROBABILITY",
}
"""How each fault is written on the command line; times are seconds of simulated time."""

_NUMBER = r"(\d+(?:\.\d+)?)"
_TEXT = re.compile(rf"([a-z]+)@{_NUMBER}(?:-{_NUMBER})?(?::{_NUMBER})?")


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that goes wrong.

    Attributes:
        kind: What.
        start_s: When it begins.
        end_s: When it ends; the same as `start_s` for what happens at a moment.
        amount: Probability per bit or byte, or number of bytes.

    """

    kind: FaultKind
    start_s: float
    end_s: float
    amount: float = 0.0


def parse_fault(text: str) -> Fault:
    """Read a fault as written on the command line, such as `unplug@300:5` or `lose@100-200:0.05`.

    Raises:
        FaultError: It is not written so; the text says how.

    """
    match = _TEXT.fullmatch(text)
    if match is None or match[1] not in MEANING:
        raise FaultError(f"{text!r} is no fault; write one of {', '.join(MEANING.values())}")
    kind = FaultKind(match[1])
    start_s = float(match[2])
    end_s = None if match[3] is None else float(match[3])
    amount = None if match[4] is None else float(match[4])
    if kind is FaultKind.UNPLUG and end_s is None and amount is not None:
        return Fault(kind, start_s, start_s + amount)
    if kind is FaultKind.REBOOT and end_s is None and amount is None:
        return Fault(kind, start_s, start_s)
    if kind is FaultKind.JUNK and end_s is None and amount is not None:
        return Fault(kind, start_s, start_s, amount)
    is_noise = kind in (FaultKind.BITS, FaultKind.LOSE, FaultKind.DOUBLE)
    if is_noise and end_s is not None and amount is not None and start_s < end_s and amount <= 1.0:
        return Fault(kind, start_s, end_s, amount)
    raise FaultError(f"{text!r} cannot be used; write {MEANING[kind]}")


class Mischief:
    """All faults of a run, and the chance behind them."""

    def __init__(self, faults: Iterable[Fault], *, seed: int) -> None:
        self._faults = sorted(faults, key=lambda fault: fault.start_s)
        self._moments = [fault for fault in self._faults if fault.start_s == fault.end_s]
        self._rng = np.random.default_rng([seed, 0x0F_A117])

    def plugged(self, now_s: float) -> bool:
        """Return whether the plug is in."""
        return not any(f.kind is FaultKind.UNPLUG and f.start_s <= now_s < f.end_s for f in self._faults)

    def due(self, now_s: float) -> Sequence[Fault]:
        """Return, once each, the reboots and the junk whose moment has come."""
        due = [fault for fault in self._moments if fault.start_s <= now_s]
        del self._moments[: len(due)]
        return due

    def junk(self, size: int) -> bytes:
        """Return `size` random bytes, zero bytes among them."""
        return self._rng.bytes(size)

    def spoil(self, data: bytes, now_s: float) -> bytes:
        """Return what arrives of `data` sent at `now_s`."""
        for fault in self._faults:
            if data and fault.start_s <= now_s < fault.end_s:
                data = self._spoil(data, fault)
        return data

    def _spoil(self, data: bytes, fault: Fault) -> bytes:
        octets = np.frombuffer(data, dtype=np.uint8)
        if fault.kind is FaultKind.BITS:
            bits = np.unpackbits(octets)
            return np.packbits(bits ^ (self._rng.random(len(bits)) < fault.amount)).tobytes()
        hit = self._rng.random(len(octets)) < fault.amount
        if fault.kind is FaultKind.LOSE:
            return octets[~hit].tobytes()
        if fault.kind is FaultKind.DOUBLE:
            return np.repeat(octets, 1 + hit.astype(np.intp)).tobytes()
        return data
