"""The load cell as a witness: what left it between two moments, with its errors as shared variables.

Four things move a load cell that no one put there: its span, its zero as it warms, its creep under a load newly set
down, and the air that rises through the fire. Each is a named variable, the same wherever it acts, so that what does
not matter to a difference cancels by itself.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from uncertainties import UFloat, ufloat
from uncertainties.core import to_affine_scalar

from emberline.bench.channels import Channel
from emberline.bench.plan import LoadCellPlan
from emberline.curves.burning_rate import LossRate, typical_rate
from emberline.curves.grid import Column
from emberline.curves.loads import Loads
from emberline.curves.warmth import warming_k
from emberline.heat.cell_check import error_about_zero, span_error, tied

Array = NDArray[np.float64]

WANDER_S = 120.0
"""Seconds within which the zero's wander is one variable."""
CREEP = 3e-4
"""Standard uncertainty of a cell's creep, as a share of a load newly laid on: makers of beam cells allow 0.03 to 0.1 %
in half an hour, legal grade C3 0.7 times the error limit, some 0.03 % (OIML R 60-1:2000, 5.5.1); half-width 0.05 %."""
CREEP_S = 600.0
"""Time within which most of the creep comes, s (common practice, no source)."""
DRAUGHT_G = 0.6
"""Standard uncertainty of the force of the hot gas on the stove, g. A litre of gas at 800 °C in air of 20 °C is
0.87 g lighter than the air it displaces (ideal gas). Where the flow is throttled, that lifts the stove; where it leaves
free, its momentum pushes down as much: a stove of 0.5 to 1.5 litres lies anywhere between."""
JET_G = 0.25
"""The same on the pot, g: 0.17 g/s of fuel (3 kW) with twelve times its mass of air, stopped from 1 to 1.5 m/s."""
_BLAZE_S = 60.0


@dataclass(frozen=True, slots=True, eq=False)
class Scale:
    """What the load cell says, with its errors as shared variables.

    Attributes:
        loss: Smoothed mass without steps, its rate, and their uncertainties.
        loads: The steps, told apart.
        span: The span's relative error, a variable about zero.
        wander_g: Increments of the zero in each `WANDER_S` of the record, variables about zero.
        creep: The creep's size, relative to a load, a variable about zero.
        draught_g: Upward force of the hot gas on the stove in full flame, a variable about zero.
        jet_g: Upward force of the hot gas on the pot in full flame, a variable about zero.
        vigour_g_s: Rate of loss in full flame.
        tied_per_s: How firmly a look at the empty cell ties the zero's wander, see `cell_check.tied`; 0 for no look.
        warmth_g_k: Error of what was taken off for the cell's temperature, g/K, a variable about zero.
        warming_k: (n,) how much warmer the cell is than at the beginning; empty where nothing was taken off.
    """

    loss: LossRate
    loads: Loads
    span: UFloat
    wander_g: tuple[UFloat, ...]
    creep: UFloat
    draught_g: UFloat
    jet_g: UFloat
    vigour_g_s: float
    tied_per_s: float = 0.0
    warmth_g_k: UFloat = field(default_factory=lambda: to_affine_scalar(0.0))
    warming_k: Array = field(default_factory=lambda: np.zeros(0))

    def lost(self, a_s: float, b_s: float) -> UFloat:
        """Return what left the cell between two moments, steps not counted."""
        seconds = np.arange(len(self.loss.mass_g)) + 0.5
        at = np.interp([a_s, b_s], seconds, self.loss.mass_g)
        noise = np.interp([a_s, b_s], seconds, self.loss.u_mass_g)
        lost = ufloat(float(at[0] - at[1]), float(np.hypot(*noise)), "mass_curve")
        for step in self.loads.steps:
            if a_s < step.t_s <= b_s:
                lost += step.size_g - step.size_g.nominal_value
        lost = lost * (1 + self.span) + self.zero_shift(a_s, b_s)
        lost += self.creep * (self._crept_g(b_s) - self._crept_g(a_s))
        if len(self.warming_k):
            lost += self.warmth_g_k * float(np.diff(np.interp([a_s, b_s], seconds, self.warming_k))[0])
        return lost - self.draught_g * (self.blaze(b_s) - self.blaze(a_s))

    def load(self, size_g: UFloat) -> UFloat:
        """Return the true weight of a step."""
        return size_g * (1 + self.span)

    def zero_shift(self, a_s: float, b_s: float) -> UFloat:
        """Return the zero's wander from one moment to another; about zero where nobody looked at the empty cell again.

        What is known is how far it gets in an hour, not the course: the shares of equal times are taken as independent,
        so that it goes with the square root of the time.
        """
        begin = np.arange(len(self.wander_g)) * WANDER_S
        share = (np.clip(b_s, begin, begin + WANDER_S) - np.clip(a_s, begin, begin + WANDER_S)) / WANDER_S
        touched = [(float(part), step) for part, step in zip(share, self.wander_g, strict=True) if part > 0.0]
        return sum((part * step for part, step in touched), to_affine_scalar(0.0))

    def u_wander_g(self, seconds: Array) -> Array:
        """Return the standard uncertainty of the zero's wander within so many seconds, (n,).

        A random walk that is known at its end, `sigma² t (1 - t / T)`, where the end was looked at.
        """
        share = self.tied_per_s * WANDER_S
        free2 = self.wander_g[0].std_dev ** 2 / max(1.0 - share, 1e-9)
        return np.asarray(np.sqrt(free2 * seconds / WANDER_S * np.maximum(1.0 - self.tied_per_s * seconds, 0.0)))

    def zero_course_g(self, t_s: Array) -> Array:
        """Return how far the zero is known to have moved since the record began, (n,)."""
        steps = np.cumsum([0.0, *(step.nominal_value for step in self.wander_g)])
        return np.asarray(np.interp(t_s, np.arange(len(steps)) * WANDER_S, steps))

    def blaze(self, t_s: float) -> float:
        """Return how vigorously it burns at a moment, 0 to 1: the loss of the minute before over that in full flame.

        The minute stands for the walls of the stove, which heat up and cool with it and draw after the flame is gone.
        """
        seconds = np.arange(len(self.loss.mass_g)) + 0.5
        before, now = np.interp([t_s - _BLAZE_S, t_s], seconds, self.loss.mass_g).tolist()
        return float(min(max((before - now) / _BLAZE_S / self.vigour_g_s, 0.0), 1.0))

    def _crept_g(self, t_s: float) -> float:
        """Return the loads on the cell since the record began, each as far as its creep has come."""
        return sum(
            float(step.size_g.nominal_value) * (1.0 - float(np.exp((step.t_s - t_s) / CREEP_S)))
            for step in self.loads.steps
            if step.t_s < t_s
        )


def scale_of(
    loss: LossRate,
    loads: Loads,
    channel: Channel,
    told: LoadCellPlan | None = None,
    cell_c: Column | None = None,
) -> Scale:
    """Attach the errors of a channel's cell and of the air around it to a smoothed mass curve.

    Args:
        loss: The smoothed curve.
        loads: The steps, told apart.
        channel: The load cell.
        told: What a person asked it with a known mass and empty.
        cell_c: The cell's temperature, with which its drift was taken off where it is known; None where not measured.
    """
    told = told or LoadCellPlan()
    warmth = channel.warmth if cell_c is not None else None
    u_drift = channel.u_drift_per_hour if warmth is None else warmth.u_drift_per_hour
    spans = int(np.ceil(len(loss.mass_g) / WANDER_S)) + 1
    u_wander = u_drift * (WANDER_S / 3600.0) ** 0.5
    wander = tuple(error_about_zero(u_wander, "load_cell_drift") for _ in range(spans))
    tied_g, tied_per_s = tied(wander, WANDER_S, u_drift, told)
    return Scale(
        loss,
        loads,
        span_error(channel.u_scale, told),
        tied_g,
        error_about_zero(CREEP, "load_cell_creep"),
        error_about_zero(DRAUGHT_G, "draught"),
        error_about_zero(JET_G, "draught_on_pot"),
        typical_rate(loss.mass_g),
        tied_per_s,
        error_about_zero(0.0 if warmth is None else warmth.u_g_per_k, "load_cell_warmth"),
        np.zeros(0) if warmth is None or cell_c is None else warming_k(cell_c),
    )
