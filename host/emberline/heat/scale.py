"""The load cell as a witness: what left it between two moments, with its errors as shared variables."""

from dataclasses import dataclass

import numpy as np
from uncertainties import UFloat, ufloat
from uncertainties.core import to_affine_scalar

from emberline.bench.channels import Channel
from emberline.curves.burning_rate import LossRate
from emberline.curves.loads import Loads


@dataclass(frozen=True, slots=True, eq=False)
class Scale:
    """What the load cell says, with its errors as shared variables.

    Attributes:
        loss: Smoothed mass without steps, its rate, and their uncertainties.
        loads: The steps, told apart.
        span: The span's relative error, a variable about zero.
        drift_g_h: The zero's drift, a variable about zero.
    """

    loss: LossRate
    loads: Loads
    span: UFloat
    drift_g_h: UFloat

    def lost(self, a_s: float, b_s: float) -> UFloat:
        """Return what left the cell between two moments, steps not counted."""
        seconds = np.arange(len(self.loss.mass_g)) + 0.5
        at = np.interp([a_s, b_s], seconds, self.loss.mass_g)
        noise = np.interp([a_s, b_s], seconds, self.loss.u_mass_g)
        lost = ufloat(float(at[0] - at[1]), float(np.hypot(*noise)), "mass_curve")
        for step in self.loads.steps:
            if a_s < step.t_s <= b_s:
                lost += step.size_g - step.size_g.nominal_value
        return lost * (1 + self.span) + self.drift_g_h * ((b_s - a_s) / 3600.0)

    def load(self, size_g: UFloat) -> UFloat:
        """Return the true weight of a step."""
        return size_g * (1 + self.span)


def scale_of(loss: LossRate, loads: Loads, channel: Channel) -> Scale:
    """Attach a channel's span and drift errors to a smoothed mass curve."""
    return Scale(
        loss,
        loads,
        error_about_zero(channel.u_scale, "load_cell_span"),
        error_about_zero(channel.u_drift_per_hour, "load_cell_drift"),
    )


def error_about_zero(u: float, tag: str) -> UFloat:
    """Return an error about zero; exactly zero where nothing is uncertain."""
    return ufloat(0.0, u, tag) if u > 0 else to_affine_scalar(0.0)
