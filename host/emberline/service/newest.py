"""The newest value of each channel of a bench, and until when it may be taken for current."""

import math
import statistics
from collections.abc import Iterable

from emberline.bench.channels import Role
from emberline.links.arrivals import Greeting
from emberline.links.link import age_limits_s
from emberline.service.watch import SECOND_NS
from emberline.trials.live_document import LiveValue
from emberline.trials.live_readings import Readings

SHOWN_NS = SECOND_NS
"""A value is the median of the newest second."""
STALE_PERIODS = 5.0


class Newest:
    """The newest values of one bench.

    Attributes:
        by_role: They.
    """

    def __init__(self, slack_s: float) -> None:
        """Begin with none; `slack_s` is that of the daemon's clock."""
        self.by_role: dict[Role, LiveValue] = {}
        self._slack_s = slack_s
        self._all_until_ns = 0
        self._of_greeting(None)

    def take(self, readings: Iterable[Readings], greeting: Greeting | None) -> None:
        """Take in the readings of a commit, of a device that greeted so."""
        self._heed(greeting)
        for one in readings:
            self.by_role[one.channel.role] = self._value(one)
        self._all_until_ns = min((value.until_ns for value in self.by_role.values()), default=0)

    def silent(self, now_ns: int) -> list[Role]:
        """Return the roles whose readings have stopped coming."""
        if now_ns <= self._all_until_ns:
            return []
        return [role for role, value in self.by_role.items() if value.stale(now_ns)]

    def t_ns(self, default_ns: int) -> int:
        """Return the time of the newest reading, UTC nanoseconds; a default where there is none."""
        return max((value.t_ns for value in self.by_role.values()), default=default_ns)

    def stale_s(self, greeting: Greeting | None) -> float:
        """Return the age from which on nothing of a device that greeted so is current."""
        self._heed(greeting)
        return self._stale_s

    def _heed(self, greeting: Greeting | None) -> None:
        """Work out the limits where a device has greeted anew, which is seldom."""
        if greeting is not self._greeting:
            self._of_greeting(greeting)

    def _of_greeting(self, greeting: Greeting | None) -> None:
        self._greeting = greeting
        streams = () if greeting is None else greeting.channels
        self._stale_s = age_limits_s(greeting)[0] + self._slack_s
        self._streams_ns = {stream.name: self._limit_ns(stream.period_s) for stream in streams}
        self._others_ns = self._limit_ns(1.0)

    def _limit_ns(self, period_s: float) -> int:
        """Return for how long a value of a channel read so often is current."""
        return round(max(self._stale_s, STALE_PERIODS * period_s + self._slack_s) * SECOND_NS)

    def _value(self, readings: Readings) -> LiveValue:
        channel, newest_ns = readings.channel, int(readings.t_ns[-1])
        since = 0 if readings.t_ns[0] >= newest_ns - SHOWN_NS else readings.t_ns.searchsorted(newest_ns - SHOWN_NS)
        finite = [value for value in readings.value[since:].tolist() if math.isfinite(value)]
        value = statistics.median(finite) if finite else None
        limit_ns = self._streams_ns.get(channel.source or channel.name, self._others_ns)
        u = None if value is None else channel.u_reading(value)
        return LiveValue(value, channel.unit, newest_ns, newest_ns + limit_ns, u)
