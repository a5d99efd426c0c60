"""When water truly came to the boil, as a person at the pot would say.

Evaporation by the vapour-pressure law has no end at boiling, so that simulated water under a weak fire settles some
tenths of a kelvin below the local boiling point, as water stirred by its own bubbles does not. The boil is therefore
the moment at which the bulk comes within 0.2 K of the level where it settles, if that is no more than 0.5 K below the
boiling point. Water that settles a little lower simmers: no thermocouple of class 2 (IEC 60584-1: 2.5 K) can tell, and
calling it a boil is neither needed nor wrong.

The second simulator's water is stirred by bubbles; its own moment stands, at which more than half of the heat leaves as
steam.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from emberline_sim.particles import ParticleBurn
from emberline_sim.recording import Recording, TrueStay, Truth

WITHIN_K = 0.2
SETTLES_WITHIN_K = 0.5
SIMMERS_WITHIN_K = 2.5
SETTLING_S = 120.0
AGREES_S = 30.0
"""The simulator's own moment stands where it is no later than this."""


@dataclass(frozen=True, slots=True)
class Boil:
    """A boil of one stay of the pot; `sure` unless it may be called one or not."""

    t_s: float
    sure: bool


def boils_of(recording: Recording) -> Iterator[tuple[TrueStay, Boil]]:
    """Yield the boil of each stay that has one."""
    for stay in recording.truth.stays:
        if isinstance(recording, ParticleBurn) and stay.boil_s is not None:
            yield stay, Boil(stay.boil_s, sure=True)
            continue
        boil = _boil(recording.truth, stay)
        if boil is not None:
            yield stay, boil


def _boil(truth: Truth, stay: TrueStay) -> Boil | None:
    curves = truth.curves
    off_s = float(curves.t_s[-1]) if stay.pot_off_s is None else stay.pot_off_s
    stands = (curves.t_s >= stay.pot_on_s) & (curves.t_s < off_s)
    t_s, water_c = curves.t_s[stands], curves.water_c[stands]
    short_k = truth.boiling_point_c - water_c
    if not len(t_s) or short_k.min() > SIMMERS_WITHIN_K:
        return None
    if short_k.min() > SETTLES_WITHIN_K:
        return Boil(float(t_s[np.argmax(short_k < short_k.min() + WITHIN_K)]), sure=False)
    near = int(np.argmax(short_k <= SETTLES_WITHIN_K))
    settled_k = float(short_k[near : near + int(SETTLING_S)].min())
    moment_s = float(t_s[np.argmax(short_k <= settled_k + WITHIN_K)])
    if stay.boil_s is not None and stay.boil_s - moment_s <= AGREES_S:
        return Boil(stay.boil_s, sure=True)
    return Boil(moment_s, sure=True)
