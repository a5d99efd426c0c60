"""The load cell as a balance: what was put on is a difference of two levels, with the uncertainty of a difference.

Things may be put on one after the other, or each alone on the cleared scale, or in a tray; which of them it was is told
by where the level has been since the last thing was taken.
"""

from dataclasses import dataclass, replace
from math import hypot, sqrt

from uncertainties import UFloat

from emberline.bench.channels import Channel
from emberline.heat.scale import CREEP
from emberline.trials.guide.level import Level

LEAST_G = 0.3
"""Least load that counts as put on."""
SURE = 4.0
"""Standard uncertainties by which two levels must differ to be two."""
LEAST_BETWEEN_S = 10.0


@dataclass(frozen=True, slots=True)
class Stand:
    """Where the level has been since the last thing was taken.

    Attributes:
        before: The level on which things are put.
        low: The lowest level since then: what the scale was cleared to.
    """

    before: Level | None = None
    low: Level | None = None

    def seen(self, level: Level) -> "Stand":
        """Take in a steady level."""
        if not level.steady:
            return self
        if self.before is None:
            return Stand(level, level)
        low = self.low or self.before
        if abs(level.mean_g - self.before.mean_g) < 0.5 * LEAST_G:
            # Nothing was put on yet: the newest look is the one to weigh against, since an untouched cell drifts.
            return Stand(level, level if low.mean_g > self.before.mean_g - 0.5 * LEAST_G else low)
        if level.mean_g < low.mean_g - 0.5 * LEAST_G:
            return replace(self, low=level)
        same = abs(level.mean_g - low.mean_g) < 0.5 * LEAST_G and level.seconds >= low.seconds
        return replace(self, low=level) if same else self


@dataclass(frozen=True, slots=True)
class Offer:
    """A mass that the scale offers.

    Attributes:
        how: `added` to what stood there, or `alone` on the cleared scale.
        mass_g: The mass.
        u_g: Its standard uncertainty.
        words: How it comes about.
    """

    how: str
    mass_g: float
    u_g: float
    words: str


def offers(
    level: Level,
    stand: Stand,
    channel: Channel,
    span: UFloat,
    *,
    holder_g: tuple[float, float, str] | None = None,
    apart: bool = False,
) -> list[Offer]:
    """Return the masses that the scale offers, the likeliest first; none while it is not steady.

    Args:
        level: What stands on it now.
        stand: Where it has been.
        channel: The load cell.
        span: Relative error of its span, see `heat.cell_check`.
        holder_g: What holds the thing where it was put on together with it (mass, standard uncertainty, name): its mass
            is taken off what was put on the cleared scale.
        apart: Whether the thing before was weighed alone: then this one probably is too.
    """
    if not level.steady or stand.before is None:
        return []
    found = []
    added = _difference(level, stand.before, channel, span)
    if not _differ(level, stand.before):
        return []  # it stands as it stood
    if level.mean_g > stand.before.mean_g:
        words = f"{grams(level.mean_g)} now, {grams(stand.before.mean_g)} before"
        found.append(Offer("added", *added, words))
    low = stand.low
    if low is not None and _differ(stand.before, low) and _differ(level, low):
        alone = _difference(level, low, channel, span)
        words = f"{grams(level.mean_g)} now, {grams(low.mean_g)} on the cleared scale"
        if holder_g is not None:
            alone = (alone[0] - holder_g[0], hypot(alone[1], holder_g[1]))
            words += f", less {grams(holder_g[0])} for {holder_g[2]}"
        if alone[0] > LEAST_G:
            found.append(Offer("alone", *alone, words))
    return found[::-1] if apart else found


def u_difference(one: Level, other: Level, channel: Channel) -> float:
    """Return the standard uncertainty of a difference of two levels, span not counted.

    Scatter of both, a rounding each (rectangular, JCGM 100:2008, F.2.2.1), what the zero wanders in the time between,
    and creep under what is new.
    """
    between_s = max(abs(one.at_ns - other.at_ns) / 1e9, LEAST_BETWEEN_S)
    wander = channel.u_drift_per_hour * sqrt(between_s / 3600.0)
    creep = CREEP * abs(one.mean_g - other.mean_g)
    return hypot(one.u_g, other.u_g, channel.resolution / sqrt(6.0), wander, creep)


def _difference(level: Level, before: Level, channel: Channel, span: UFloat) -> tuple[float, float]:
    shown = level.mean_g - before.mean_g
    true_g = shown * (1.0 + float(span.nominal_value))
    return true_g, hypot(u_difference(level, before, channel), float(span.std_dev) * shown)


def _differ(one: Level, other: Level) -> bool:
    """Tell whether a load was put on or taken off between two levels; that is seen as it happens, whatever drifts."""
    return abs(one.mean_g - other.mean_g) > max(LEAST_G, SURE * hypot(one.u_g, other.u_g))


def grams(mass_g: float) -> str:
    """Write a level with tenths; zero has no sign."""
    return f"{mass_g:.1f} g".replace("-0.0 g", "0.0 g").replace("-", "−")
