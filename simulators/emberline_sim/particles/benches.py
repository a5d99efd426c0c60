"""Draws the sensors of a bench, good and poor, and what breaks.

Class-2 type K wire within 2.5 K (IEC 60584-1; rectangular, so a standard deviation of 1.4 K; half of that is taken,
since most wire is better than its class); hobby load cells: creep 0.03 to 0.1 %, zero shift up to 0.05 % of 5 kg in
10 K, rare absurd readings (makers' sheets, and a published log of 24 hours of such a converter).
"""

from dataclasses import dataclass

import numpy as np

from emberline_sim.particles.drawing import between
from emberline_sim.particles.kinds import Kind
from emberline_sim.particles.scale import ScaleSense
from emberline_sim.particles.senses import FlameSense, Rhythm, Sampling, Spoilt, WaterSense


@dataclass(frozen=True, slots=True)
class Bench:
    """The sensors; what is None is not fitted."""

    water: WaterSense | None
    flame: FlameSense | None
    mass: ScaleSense | None
    pot_mass: ScaleSense | None
    ambient: Sampling | None
    gaps: tuple[tuple[float, float], ...]


def draw_bench(kind: Kind, duration_s: float, rng: np.random.Generator) -> Bench:
    """Draw the sensors for a record of `duration_s`."""
    by_loop = rng.random() < kind.by_loop
    rhythm: Rhythm = "loop" if by_loop else "clock"
    gaps = tuple(
        (float(start_s), float(start_s) + between(rng, 2.0, 40.0))
        for start_s in np.sort(rng.uniform(20.0, duration_s - 60.0, int(rng.integers(0, kind.gaps + 1))))
    )
    hz = float(rng.choice(kind.hz))
    slow_hz = hz if by_loop or hz <= 1.0 else float(rng.choice((1.0, 2.0, 4.0, 5.0, 10.0)))
    fitted = set(kind.channels)
    if "flame?" in fitted and rng.random() < 0.7:
        fitted.add("flame")
    # One logger writes all columns at the same moments, or each converter keeps its own time.
    coarse_c = float(rng.choice((0.25, 0.25, 0.0625, 0.1, 1.0 / 128.0)))
    own = Sampling(slow_hz, rhythm, coarse_c, gaps)
    grams = (
        float(rng.choice((0.1, 0.5, 1.0)))
        if by_loop and rng.random() < 0.5
        else 1.0 / float(rng.choice((210.0, 419.0, 1049.0)))
    )
    weighs = Sampling(hz, rhythm, grams, gaps)
    return Bench(
        water=_water(own, _broken(kind, duration_s, ("open", "short", "stuck", "wild"), rng), rng)
        if "water" in fitted
        else None,
        flame=_flame(own, _broken(kind, duration_s, ("open", "stuck", "wild"), rng), rng)
        if "flame" in fitted
        else None,
        mass=_scale(kind, weighs, _broken(kind, duration_s, ("open", "stuck"), rng), rng) if "mass" in fitted else None,
        pot_mass=_scale(kind, weighs, (), rng) if "pot_mass" in fitted else None,
        ambient=Sampling(0.5, rhythm, 0.0625, gaps) if rng.random() < 0.4 else None,
        gaps=gaps,
    )


def _broken(kind: Kind, duration_s: float, ways: tuple[str, ...], rng: np.random.Generator) -> tuple[Spoilt, ...]:
    if rng.random() >= kind.spoilt:
        return ()
    way = ways[int(rng.integers(len(ways)))]
    from_s = between(rng, 20.0, 0.8 * duration_s)
    for_s = between(rng, 60.0, 400.0) if way == "wild" else between(rng, 3.0, 45.0)
    match way:
        case "open":
            return (Spoilt("open", from_s, from_s + for_s),)
        case "short":
            return (Spoilt("short", from_s, from_s + for_s),)
        case "wild":
            return (Spoilt("wild", from_s, from_s + for_s),)
        case _:
            return (Spoilt("stuck", from_s, from_s + for_s),)


def _water(sampling: Sampling, spoilt: tuple[Spoilt, ...], rng: np.random.Generator) -> WaterSense:
    return WaterSense(
        sampling=sampling,
        lag_s=between(rng, 0.4, 3.5),
        air_lag_s=between(rng, 10.0, 45.0),
        height=between(rng, 0.1, 0.9),
        stem=between(rng, 0.0, 0.006),
        bias_c=float(np.clip(rng.normal(0.0, 0.7), -1.6, 1.6)),
        gain=float(rng.normal(0.0, 0.002)),
        junction_c=between(rng, -0.2, 0.8),
        noise_c=between(rng, 0.02, 0.2),
        stays=bool(rng.random() < 0.6),
        spoilt=spoilt,
    )


def _flame(sampling: Sampling, spoilt: tuple[Spoilt, ...], rng: np.random.Generator) -> FlameSense:
    return FlameSense(
        sampling=sampling,
        bead_m=float(rng.choice((0.0005, 0.001, 0.0015, 0.003))),
        slow_s=between(rng, 12.0, 60.0),
        slow_share=between(rng, 0.05, 0.35),
        reach=between(rng, 0.75, 1.05),
        char_view=between(rng, 0.02, 0.25),
        flicker=between(rng, 0.06, 0.18),
        noise_c=between(rng, 0.2, 1.0),
        gain=float(rng.normal(0.0, 0.005)),
        spoilt=spoilt,
    )


def _scale(kind: Kind, sampling: Sampling, spoilt: tuple[Spoilt, ...], rng: np.random.Generator) -> ScaleSense:
    return ScaleSense(
        sampling=sampling,
        noise_g=between(rng, 0.03, 0.2) * (1.6 if sampling.hz > 30.0 else 1.0),
        pink_g=between(rng, 0.02, 0.08),
        span=float(rng.normal(0.0, 0.001)),
        off_centre=float(rng.normal(0.0, 0.0003)),
        creep=(between(rng, 0.0, 0.0003), between(rng, 0.0, 0.0006)),
        drift_g_k=between(rng, -0.25, 0.25),
        warms_k=between(rng, 1.0, 14.0),
        hot_litres=between(rng, 0.3, 1.8),
        wind_g=between(rng, 0.4, 1.8),
        strikes_h=between(rng, 0.0, 6.0),
        full_g=5200.0,
        zero_g=None if rng.random() < 0.5 else float(rng.normal(0.0, 20.0)),
        spoilt=spoilt,
    )
