"""The pot's visits to the stove: when it is set on and lifted, and with which filling."""

from dataclasses import dataclass

from emberline_sim.pot import Pot
from emberline_sim.trial_specs import PotSpec, VisitSpec

BOILING_WITHIN_K = 0.2
"""Distance of the bulk from the local boiling point at which its boil begins: the vapour-pressure law, which has no end
at boiling, lets the last fifth of a kelvin take any time, and no thermometer tells it (common practice, no source)."""


@dataclass(slots=True)
class Visit:
    """One visit as it came about: `boil_s` and `off_s` are None as long as, or if, they do not happen."""

    spec: VisitSpec
    on_s: float
    boil_s: float | None = None
    off_s: float | None = None


class Visits:
    """Sets the pot on and lifts it as the scenario says."""

    def __init__(
        self, spec: PotSpec, pressure_pa: float, humidity: float, lids: tuple[tuple[float, bool], ...] = ()
    ) -> None:
        """Fill the pot for its first visit; it stands beside the stove.

        Args:
            spec: The pot.
            pressure_pa: Station pressure.
            humidity: Relative humidity of the air.
            lids: Times at which the lid goes on (true) or comes off.

        """
        self._lids = sorted(lids)
        self._spec, self._pressure_pa, self._humidity = spec, pressure_pa, humidity
        self.past: list[Visit] = []
        self.on = False
        self.pot = self._filled(spec.visits[0])

    def _filled(self, visit: VisitSpec) -> Pot:
        return Pot(self._spec, visit, self._pressure_pa, self._humidity)

    def turn(self, t_s: float) -> None:
        """Set the pot on or lift it, if its time has come."""
        if self.on:
            visit = self.past[-1]
            due = [] if visit.spec.off_s is None else [visit.spec.off_s]
            if visit.spec.off_after_boil_s is not None and visit.boil_s is not None:
                due.append(visit.boil_s + visit.spec.off_after_boil_s)
            if due and t_s >= min(due):
                visit.off_s = t_s
                self.on = False
        upcoming = self._spec.visits[len(self.past) :]
        if not self.on and upcoming and t_s >= upcoming[0].on_s:
            if self.past:
                self.pot = self._filled(upcoming[0])
            self.past.append(Visit(upcoming[0], t_s))
            self.on = True
        while self._lids and t_s >= self._lids[0][0]:
            self.pot.lid = self._lids.pop(0)[1]

    def step(self, t_s: float, dt_s: float, intake_w: float, ambient_c: float, wind_m_s: float) -> None:
        """Advance the pot from `t_s` by `dt_s`; a pot that has been lifted cools, one not yet set on waits."""
        if not self.past:
            return
        self.pot.step(dt_s, intake_w if self.on else 0.0, ambient_c, wind_m_s)
        visit = self.past[-1]
        at_the_boil = self.pot.boiling or self.pot.bulk_c > self.pot.boiling_c - BOILING_WITHIN_K
        if self.on and at_the_boil and visit.boil_s is None:
            visit.boil_s = t_s + dt_s
