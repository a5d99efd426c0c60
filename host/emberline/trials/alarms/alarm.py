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


TITLES: Mapping[AlarmKind, str] = MappingProxyType(
    {
        AlarmKind.POT_NEARLY_DRY: "The pot is nearly dry",
        AlarmKind.LOAD_GONE: "The load is gone: the stove may have tipped over",
        AlarmKind.CELL_NEAR_LIMIT: "The load cell is near its limit",
        AlarmKind.PROBE_OUT: "The water probe is out of the water",
    }
)
"""What each is called on a screen."""


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
class Danger:
    """There is cause for an alarm.

    Attributes:
        text: The evidence in words and numbers.
    """

    text: str


@dataclass(frozen=True, slots=True)
class Safe:
    """The cause of an alarm has gone, by more than what only just raises one."""


Verdict = Danger | Safe | None
"""What a look finds; None where it is neither, or cannot be known: then an alarm stays as it is."""
