"""The moments of a burn as uncertain numbers: one variable for each event, so that differences stay correlated."""

from collections.abc import Callable
from functools import cached_property
from statistics import NormalDist
from typing import TypeVar

from uncertainties import UFloat, nominal_value, ufloat
from uncertainties.core import to_affine_scalar

from emberline.curves.events import Event, EventKind, first, last
from emberline.heat.errors import AbsentError

Fact = TypeVar("Fact")

_SAME_MOMENT_S = 2.0


class Moments:
    """When things happened, in seconds from the trial's first sample.

    Args:
        events: The events of a trial.
    """

    def __init__(self, events: tuple[Event, ...]) -> None:
        self.events = tuple(sorted(events, key=lambda event: event.t_s))
        self._values = [uncertain(event.t_s, event.u_s, event.kind.value) for event in self.events]

    @cached_property
    def lit(self) -> UFloat:
        """When the fuel caught; AbsentError where nobody saw it."""
        event = first(self.events, EventKind.LIT)
        if event is None:
            raise AbsentError("no lighting was found in the record: let it run before you light the stove")
        return self.of(event)

    @cached_property
    def flameout(self) -> UFloat:
        """When the flame went out for good; AbsentError where it did not."""
        event = last(self.events, EventKind.FLAMEOUT)
        if event is None:
            raise AbsentError("no flameout was found in the record: let it run until the flame is out")
        return self.of(event)

    @cached_property
    def burn_time_s(self) -> UFloat:
        """From lit to flameout; AbsentError where either is missing or they come in the wrong order."""
        length = self.flameout - self.lit
        if not nominal_value(length) > 0:
            raise AbsentError("the flameout lies before the lighting: correct the event that a person set")
        return length

    @cached_property
    def boil(self) -> UFloat:
        """When the water first boiled; AbsentError where it did not."""
        event = first(self.events, EventKind.BOIL)
        if event is None:
            raise AbsentError("the water never boiled, as far as its probe tells")
        return self.of(event)

    @cached_property
    def time_to_boil_s(self) -> UFloat:
        """From the later of pot on and lit to the first boil.

        AbsentError where neither lies in the record. A pot that stood there before the record began counts from lit.
        """
        boil = self.boil
        pots = [self.of(event) for event in self.of_kind(EventKind.POT_ON) if event.t_s < boil.nominal_value]
        lit = attempt(lambda: self.lit)
        starts = pots[-1:] + ([] if lit is None else [lit])
        if not starts:
            raise AbsentError("the record shows neither the lighting nor the pot being set down: start it before both")
        return self._up_to_boil(max(starts, key=nominal_value))

    @cached_property
    def time_to_boil_from_lit_s(self) -> UFloat:
        """From lit to the first boil; AbsentError where either is missing."""
        return self._up_to_boil(self.lit)

    def _up_to_boil(self, start: UFloat) -> UFloat:
        length = self.boil - start
        if not nominal_value(length) > 0:
            raise AbsentError("the water boiled before the fire was lit: correct the event that a person set")
        return length

    def of(self, event: Event) -> UFloat:
        """Time of one of the events."""
        return self._values[self.events.index(event)]

    def of_kind(self, kind: EventKind) -> list[Event]:
        """Return the events of a kind in their order."""
        return [event for event in self.events if event.kind is kind]

    def near(self, kind: EventKind, t_s: float) -> UFloat:
        """Time of the event of a kind at `t_s`, or `t_s` itself where there is none: the record began or ended so."""
        for event, value in zip(self.events, self._values, strict=True):
            if event.kind is kind and abs(event.t_s - t_s) <= _SAME_MOMENT_S:
                return value
        return to_affine_scalar(t_s)


def chance_sooner(one: UFloat, other: UFloat) -> float:
    """Return the chance that a moment comes before another."""
    apart = other - one
    u_s, apart_s = float(apart.std_dev), float(apart.nominal_value)
    return NormalDist(0.0, u_s).cdf(apart_s) if u_s > 0.0 else float(apart_s > 0.0)


def earlier(one: UFloat, other: UFloat) -> UFloat:
    """Return the earlier of two uncertain moments: its mean lies before both where nobody knows which it was.

    Mean and variance of the minimum of two normal variables (Clark, Operations Research 9 (1961) 145; from memory),
    linear in each by the chance that it was the earlier; what that leaves of the variance is a part of its own.
    """
    apart = one - other
    u_s = float(apart.std_dev)
    if not u_s > 0.0:
        return min(one, other, key=nominal_value)
    off = -float(apart.nominal_value) / u_s
    first, density = chance_sooner(one, other), NormalDist().pdf(off)
    linear = first * (one - one.nominal_value) + (1.0 - first) * (other - other.nominal_value)
    # Counted from the other's mean.
    mean_s = -u_s * (off * first + density)
    squares = first * (float(one.std_dev) ** 2 + (off * u_s) ** 2) + (1.0 - first) * float(other.std_dev) ** 2
    variance = squares + off * u_s**2 * density - mean_s**2
    rest_s = max(variance - float(linear.std_dev) ** 2, 0.0) ** 0.5
    return other.nominal_value + mean_s + linear + uncertain(0.0, rest_s, "flameout")


def uncertain(nominal: float, u: float, tag: str) -> UFloat:
    """Return a tagged uncertain number, or an exact one where `u` is zero."""
    return ufloat(nominal, u, tag=tag) if u > 0.0 else to_affine_scalar(nominal)


def attempt(fact: Callable[[], Fact]) -> Fact | None:
    """Return a fact, or None where it is absent."""
    try:
        return fact()
    except AbsentError:
        return None
