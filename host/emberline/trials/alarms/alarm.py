"""What an alarm is."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType


class AlarmKind(StrEnum):
    """What a person must see to."""

    POT_NEARLY_DRY = "pot_nearly_dry"
    LOAD_GONE = "load_gone"
    CELL_NEAR_LIMIT = "cell_near_limit"
    PROBE_OUT = "probe_out"
    CELL_HOT = "cell_hot"
    FLAME_LONG = "flame_long"
    SENSOR_STUCK = "sensor_stuck"
    NO_READINGS = "no_readings"
    SENSOR_FAULT = "sensor_fault"
    CO_HIGH = "co_high"
    CO_MEAN = "co_mean"
    DISK_LOW = "disk_low"


TITLES: Mapping[AlarmKind, str] = MappingProxyType(
    {
        AlarmKind.POT_NEARLY_DRY: "The pot is nearly dry",
        AlarmKind.LOAD_GONE: "The load is gone: the stove may have tipped over",
        AlarmKind.CELL_NEAR_LIMIT: "The load cell is near its limit",
        AlarmKind.PROBE_OUT: "The water probe is out of the water",
        AlarmKind.CELL_HOT: "The load cell is too hot",
        AlarmKind.FLAME_LONG: "The flame burns longer than it should",
        AlarmKind.SENSOR_STUCK: "A sensor shows the same all the time",
        AlarmKind.NO_READINGS: "No readings: the burn is not recorded",
        AlarmKind.SENSOR_FAULT: "A sensor has failed",
        AlarmKind.CO_HIGH: "Carbon monoxide is dangerously high: get out, let air in",
        AlarmKind.CO_MEAN: "Carbon monoxide is above a limit",
        AlarmKind.DISK_LOW: "The disk is nearly full",
    }
)
"""What each is called on a screen."""

OF_THE_BENCH = frozenset(
    {AlarmKind.NO_READINGS, AlarmKind.SENSOR_FAULT, AlarmKind.CO_HIGH, AlarmKind.CO_MEAN, AlarmKind.DISK_LOW}
)
"""Those told from how the bench and its machine stand now, with or without a burn; the others are told from the record
of a burn alone."""


@dataclass(frozen=True, slots=True)
class Alarm:
    """One alarm.

    Attributes:
        kind: What it is about.
        raised_s: When it was raised, seconds of the record.
        text: Its evidence in words and numbers.
        cleared_s: When its cause had gone; None while that lasts.
    """

    kind: AlarmKind
    raised_s: float
    text: str
    cleared_s: float | None = None


@dataclass(frozen=True, slots=True)
class PastAlarm:
    """An alarm that was raised while a trial ran; times in seconds from the trial's first sample.

    Attributes:
        kind: What it was about; `AlarmKind`, or a word of a later version.
        t_s: When it was raised.
        text: Its evidence in words and numbers.
        cleared_t_s: When its cause had gone; None where that is not known.
        acknowledged_t_s: When somebody had seen it; None where nobody has.
        acknowledged_by: Who; may be empty.
    """

    kind: str
    t_s: float
    text: str
    cleared_t_s: float | None
    acknowledged_t_s: float | None
    acknowledged_by: str


@dataclass(frozen=True, slots=True)
class Danger:
    """There is cause for an alarm.

    Attributes:
        text: The evidence in words and numbers.
        rank: How much is wrong; more than before is told anew.
    """

    text: str
    rank: int = 1


@dataclass(frozen=True, slots=True)
class Safe:
    """The cause of an alarm has gone, by more than what only just raises one."""


Verdict = Danger | Safe | None
"""What a look finds; None where it is neither, or cannot be known: then an alarm stays as it is."""
