"""Alarms of the bench itself: it is not recorded, a sensor has failed, the disk is nearly full.

They are told from how things stand now, since what never arrived leaves no record.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

from emberline.trials.alarms.alarm import Danger, Safe, Verdict

SILENT_S, BACK_S = 20.0, 10.0
"""Time without readings that is told, and with readings after which that is over: a device bridges a few seconds."""
FAILED_S, WELL_S = 15.0, 10.0
"""The same of a single sensor; a lead that is touched is open for a moment."""
LEAST_FREE_BYTES, LEAST_FREE_SHARE = 1_000_000_000, 0.05
"""Room that must be left on the disk, the smaller of the two: months of a bench's readings (common practice, no
source)."""
FREED = 1.25
"""Times that room with which the alarm is cleared."""


def no_readings(recorded: bool, since_s: float, why: str) -> Verdict:
    """Judge whether readings of an open trial are missing.

    Args:
        recorded: Whether readings reach the disk.
        since_s: For how long that has been so, seconds.
        why: The reason in words.
    """
    if recorded:
        return Safe() if since_s >= BACK_S else None
    if since_s < SILENT_S:
        return None
    stop = "" if why.endswith(("?", "!", ".")) else "."
    return Danger(f"For {since_s:.0f} s nothing has been recorded: {why}{stop}")


@dataclass
class SensorFault:
    """Watches the sensors one by one while a trial is open."""

    _since_s: dict[str, float] = field(default_factory=dict)
    _well_s: float | None = None

    def look(self, now_s: float, faults: Mapping[str, str] | None) -> Verdict:
        """Look at how the sensors stand.

        Args:
            now_s: Time, seconds of any clock.
            faults: What is wrong with which channel, in words; None where no trial is open.
        """
        if faults is None:
            self._since_s.clear()
            return Safe()
        self._since_s = {name: self._since_s.get(name, now_s) for name in faults}
        failed = [name for name, since_s in self._since_s.items() if now_s - since_s >= FAILED_S]
        if failed:
            self._well_s = None
            return Danger("; ".join(f"{name}: {faults[name]}" for name in failed) + ".", rank=len(failed))
        if faults:
            return None
        self._well_s = now_s if self._well_s is None else self._well_s
        return Safe() if now_s - self._well_s >= WELL_S else None


def disk_low(free_bytes: int | None, total_bytes: int | None) -> Verdict:
    """Judge the room on the store's disk; None where it is not known."""
    if free_bytes is None or total_bytes is None:
        return None
    least = min(LEAST_FREE_BYTES, LEAST_FREE_SHARE * total_bytes)
    if free_bytes < least:
        return Danger(
            f"Only {free_bytes / 1e6:.0f} MB are left on the store's disk: free some room before it is full, or nothing"
            " more is recorded."
        )
    return Safe() if free_bytes > FREED * least else None
