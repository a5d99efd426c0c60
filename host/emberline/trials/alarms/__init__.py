"""Alarms: what a person must see to at once, told from the record as it grows and from how the bench stands."""

from emberline.trials.alarms.alarm import TITLES, Alarm, AlarmKind
from emberline.trials.alarms.burn_alarms import BurnAlarms, Look

__all__ = ["TITLES", "Alarm", "AlarmKind", "BurnAlarms", "Look"]
