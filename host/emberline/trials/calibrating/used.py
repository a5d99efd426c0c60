"""Which of a person's calibrations a trial's record was read with, for its summary."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime

from emberline.bench.channels import Channel

_WHAT = {
    "mass": "was calibrated with known masses",
    "probe": "was compared with a known temperature",
    "drift": "had its drift with temperature found",
}


@dataclass(frozen=True, slots=True)
class UsedCalibration:
    """A calibration that is in a trial's numbers.

    Attributes:
        channel: Name of the channel.
        kind: `mass`, `probe` or `drift`.
        number: Its number in the store.
        made: When, ISO 8601 in UTC.
        later: Whether that was after the trial had begun, so that the record was read again with it.
    """

    channel: str
    kind: str
    number: int
    made: str
    later: bool

    @property
    def words(self) -> str:
        """What a reader should know of it."""
        day = self.made.partition("T")[0]
        done = f"Channel {self.channel} {_WHAT.get(self.kind, 'was calibrated')}"
        if not self.later:
            return f"{done} on {day} (calibration {self.number})."
        return f"{done} later, on {day} (calibration {self.number}), and this record was read again with it."


def used_calibrations(channels: Iterable[Channel], start_ns: int) -> tuple[UsedCalibration, ...]:
    """Return the calibrations that are in the numbers of a trial's channels.

    Args:
        channels: Its channels.
        start_ns: When it began, UTC nanoseconds.
    """
    begun = f"{datetime.fromtimestamp(start_ns // 1_000_000_000, UTC):%Y-%m-%dT%H:%M:%SZ}"
    return tuple(
        UsedCalibration(channel.name, one.kind, one.number, one.made, one.made > begun)
        for channel in channels
        for one in channel.calibrated
    )
