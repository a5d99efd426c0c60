"""The alarms of one burn, kept from second to second.

They step on the 1 Hz grid and know nothing but the record, so that a replay of the same commits raises and clears the
same alarms at the same seconds.
"""

from typing import Protocol

from emberline.bench.alarm_rules import AlarmRules
from emberline.trials.alarms.alarm import Alarm, AlarmKind, Danger, Safe, Verdict
from emberline.trials.alarms.cell_heat import CellHeat
from emberline.trials.alarms.cell_limit import CellLimit
from emberline.trials.alarms.flame_long import FlameLong
from emberline.trials.alarms.load_gone import LoadGone
from emberline.trials.alarms.look import Look
from emberline.trials.alarms.pot_dry import PotDry
from emberline.trials.alarms.probe_out import ProbeOut
from emberline.trials.alarms.sensor_stuck import SensorStuck

__all__ = ["BurnAlarms", "Look"]


class Watch(Protocol):
    """Looks for one kind of danger."""

    def look(self, look: Look) -> Verdict:
        """Look at the record so far."""


class BurnAlarms:
    """Raises and clears the alarms of one burn."""

    def __init__(self, rules: AlarmRules) -> None:
        """Begin without alarms.

        Args:
            rules: The bench's limits.
        """
        self._watches: dict[AlarmKind, Watch] = {
            AlarmKind.POT_NEARLY_DRY: PotDry(),
            AlarmKind.LOAD_GONE: LoadGone(),
            AlarmKind.CELL_NEAR_LIMIT: CellLimit(),
            AlarmKind.PROBE_OUT: ProbeOut(),
            AlarmKind.CELL_HOT: CellHeat(rules.cell_hottest_c),
            AlarmKind.FLAME_LONG: FlameLong(rules.flame_longest_s),
            AlarmKind.SENSOR_STUCK: SensorStuck(),
        }
        self._newest: dict[AlarmKind, Alarm] = {}

    @property
    def newest(self) -> tuple[Alarm, ...]:
        """The newest alarm of each kind, standing or cleared, in the order in which they were raised."""
        return tuple(sorted(self._newest.values(), key=lambda alarm: alarm.raised_s))

    def look(self, look: Look) -> None:
        """Look at the record so far, one second longer than at the last call."""
        for kind, watch in self._watches.items():
            verdict, known = watch.look(look), self._newest.get(kind)
            stands = known is not None and known.cleared_s is None
            if isinstance(verdict, Danger) and not stands:
                self._newest[kind] = Alarm(kind, float(look.second), verdict.text)
            elif isinstance(verdict, Safe) and known is not None and stands:
                self._newest[kind] = Alarm(kind, known.raised_s, known.text, float(look.second))
