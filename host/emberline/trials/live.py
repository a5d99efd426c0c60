"""A trial while it runs: what the tracker says of it, what it burns now, and what is to come."""

from collections.abc import Mapping, Sequence

from emberline.bench.alarm_rules import AlarmRules
from emberline.bench.channels import Channel, Role
from emberline.bench.plan import Plan
from emberline.bench.samples import SampleBatch
from emberline.curves.events import Event, EventKind, Phase, Retraction
from emberline.curves.grid import Grid
from emberline.trials.alarms import Alarm, BurnAlarms, Look
from emberline.trials.estimates import Estimates
from emberline.trials.live_estimates import Estimator
from emberline.trials.tracker import Tracked, Tracker
from emberline.trials.trial import GrowingGrid

ESTIMATE_EVERY_S = 5
USUAL_RULES = AlarmRules()
CELLS, BEYOND_S = (Role.MASS, Role.POT_MASS), 5.0
"""Load cells, and the seconds in which it is looked whether their converters are at their end."""


class LiveTrial:
    """Follows one trial commit by commit; the same commits in the same order say the same.

    Attributes:
        estimates: The newest estimates.
    """

    def __init__(
        self,
        channels: Mapping[Role, Channel],
        plan: Plan,
        start_ns: int,
        char_s: float = 1_800.0,
        rules: AlarmRules = USUAL_RULES,
    ) -> None:
        """Begin without samples.

        Args:
            channels: The bench's channels by role, their calibrations completed.
            plan: What is known beforehand.
            start_ns: UTC nanoseconds of `t_s = 0`.
            char_s: Length of the char phase until the trial ends by itself.
            rules: Limits of its alarms.
        """
        self.estimates = Estimates()
        self._growing = GrowingGrid(channels, start_ns)
        self._tracker = Tracker(channels, plan)
        self._estimator = Estimator(channels, plan, char_s)
        self._alarms = BurnAlarms(rules)
        self._channels, self._plan = dict(channels), plan
        self._looked = 0

    @property
    def start_ns(self) -> int:
        """UTC nanoseconds of `t_s = 0`."""
        return self._growing.samples.start_ns

    @property
    def now_s(self) -> int:
        """Seconds that have been looked at."""
        return self._looked

    @property
    def tracked(self) -> Tracked:
        """Everything said so far."""
        return self._tracker.tracked

    @property
    def phase(self) -> Phase:
        """The phase as far as it has been announced."""
        return self._tracker.phase

    @property
    def alarms(self) -> tuple[Alarm, ...]:
        """The newest alarm of each kind, standing or cleared."""
        return self._alarms.newest

    def take(self, batches: Sequence[SampleBatch]) -> list[Event | Retraction]:
        """Take in one commit and return what is to be said now."""
        said: list[Event | Retraction] = []
        complete = self._growing.add(batches)
        while self._looked < complete:
            self._looked += 1
            grid = self._growing.grid(self._looked)
            said += self._tracker.look(grid)
            if self._looked % ESTIMATE_EVERY_S == 0:
                self.estimates = self._estimator.look(grid, self._tracker)
            self._alarms.look(self._seen(grid))
        return said

    def event(self, kind: EventKind) -> Event | None:
        """Return the latest standing event of a kind, or None."""
        found = [event for event in self.tracked.announced if event.kind is kind]
        return max(found, key=lambda event: event.t_s, default=None)

    def _seen(self, grid: Grid) -> Look:
        """Return the newest second as alarms see it."""
        tracker, now = self._tracker, grid.n
        beyond = {
            role: self._growing.samples.beyond(role, now - BEYOND_S, now) for role in CELLS if role in self._channels
        }
        return Look(
            grid,
            self._channels,
            self._plan,
            tracker.phase is not Phase.WAITING,
            tracker.loads,
            tracker.stays,
            tracker.boiling_c,
            self._estimator.water,
            beyond,
            tracker.flame_s,
        )

    def grid(self) -> Grid:
        """Return all seconds so far."""
        return self._growing.grid()
