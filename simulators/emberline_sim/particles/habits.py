"""What a person does in a burn, and when: drawn, irregular (common practice, no source)."""

from dataclasses import dataclass

import numpy as np

from emberline_sim.particles.drawing import Stove, between
from emberline_sim.particles.kinds import Kind
from emberline_sim.particles.setting import Deed
from emberline_sim.particles.vessel import Vessel

HANDS_APART_S = 25.0


@dataclass(frozen=True, slots=True)
class Plot:
    """The deeds of a burn, and what the record makes of it."""

    deeds: tuple[Deed, ...]
    tail_s: float
    least_s: float
    begins_s: float
    snuffed_s: float | None


def draw_plot(kind: Kind, stove: Stove, vessel: Vessel | None, air_c: float, rng: np.random.Generator) -> Plot:
    """Draw all that the person does."""
    lit_s = round(between(rng, 30.0, 180.0))
    burns_s = stove.burns_s
    deeds: list[Deed] = []
    if kind.course != "never_lit":
        deeds.append(Deed("light", lit_s))
    if kind.course == "dies":
        deeds.append(Deed("smother", lit_s + burns_s * between(rng, 0.35, 0.6), lasts_s=between(rng, 120.0, 300.0)))
    if kind.course == "relit":
        died_s = lit_s + burns_s * between(rng, 0.3, 0.55)
        deeds.append(Deed("smother", died_s, lasts_s=60.0))
        deeds.append(Deed("relight", died_s + between(rng, 90.0, 420.0), lasts_s=between(rng, 90.0, 150.0)))
    if kind.course == "catches_late":
        died_s = lit_s + between(rng, 20.0, 60.0)
        deeds.append(Deed("smother", died_s, lasts_s=20.0))
        deeds.append(Deed("relight", died_s + between(rng, 40.0, 240.0), lasts_s=between(rng, 90.0, 150.0)))
    if vessel is not None:
        deeds += _pot(kind, stove, vessel, lit_s, air_c, rng)
    deeds += _refuels(kind, stove, lit_s, rng)
    busy_s = [deed.at_s for deed in deeds if deed.at_s is not None]
    for _ in range(int(rng.integers(kind.clumsy[0], kind.clumsy[1] + 1))):
        at_s = lit_s + burns_s * between(rng, -0.02, 1.15)
        if all(abs(at_s - other_s) > HANDS_APART_S for other_s in busy_s) and at_s > 12.0:
            deeds.append(_mishap(kind, at_s, rng))
            busy_s.append(at_s)
    snuffed_s = None
    tail_s = between(rng, 240.0, 1100.0)
    if kind.course not in ("never_lit", "cut_short") and rng.random() < 0.35:
        snuffed_s = round(between(rng, 20.0, 0.6 * tail_s))
        deeds.append(Deed("snuff", after="flameout", delay_s=snuffed_s))
    least_s = lit_s + 60.0 + (between(rng, 400.0, 1200.0) if kind.course == "never_lit" else 0.0)
    begins_s = lit_s + round(burns_s * between(rng, 0.12, 0.5)) if kind.course == "begun_late" else 0.0
    if kind.course == "cut_short":
        tail_s = between(rng, 15.0, 60.0)
    return Plot(tuple(deeds), tail_s, least_s, float(begins_s), snuffed_s)


def _pot(kind: Kind, stove: Stove, vessel: Vessel, lit_s: float, air_c: float, rng: np.random.Generator) -> list[Deed]:
    boils_s = between(rng, 270.0, 620.0)
    passed = 1.0 - np.exp(-vessel.transfer_units)
    taken_w = stove.power_w * (0.75 * passed + 0.07)
    water_c = between(rng, 8.0, min(24.0, air_c + 8.0))
    water_g = taken_w * boils_s / (4.19 * (97.0 - water_c)) - vessel.metal_j_k / 4.19
    water_g = float(np.clip(water_g, 250.0, 1400.0))
    if kind.weak:
        water_g = between(rng, 250.0, 450.0)
    on_s = lit_s + between(rng, 50.0, 260.0)
    lid = vessel.lid_g > 0.0 and bool(rng.random() < 0.7)

    def on(at_s: float | None, grams: float, after: str | None = None, delay_s: float = 0.0) -> Deed:
        rough = float(np.exp(rng.normal(0.0, 0.8)))
        return Deed(
            "pot_on", at_s, after, delay_s, water_g=grams, water_c=water_c, lid=lid, rough=rough,
            lasts_s=between(rng, 0.4, 2.5),
        )  # fmt: skip

    def off(at_s: float | None = None, after: str | None = None, delay_s: float = 0.0) -> Deed:
        return Deed("pot_off", at_s, after, delay_s, rough=float(np.exp(rng.normal(0.0, 0.6))))

    lifted = off(after="boil", delay_s=between(rng, 25.0, 300.0))
    match kind.pot:
        case "keeps":
            deeds = [on(on_s, water_g)]
            if rng.random() < 0.4:
                deeds.append(off(lit_s + stove.burns_s * between(rng, 0.9, 1.35)))
        case "stands_first":
            deeds = [on(0.0 if rng.random() < 0.6 else max(8.0, lit_s - between(rng, 15.0, 25.0)), water_g)]
            if rng.random() < 0.6:
                deeds.append(lifted)
        case "fills_twice":
            again = on(None, 0.6 * water_g, "pot_off", between(rng, 35.0, 150.0))
            deeds = [on(on_s, 0.6 * water_g), lifted, again, off(after="boil", delay_s=between(rng, 25.0, 200.0))]
        case "looks":
            look_s = on_s + boils_s * between(rng, 0.2, 0.4)
            back = on(None, 0.0, "pot_off", between(rng, 5.0, 25.0))
            deeds = [on(on_s, water_g), off(look_s), back, lifted]
        case "late":
            deeds = [on(max(on_s, lit_s + stove.burns_s - between(rng, 0.25, 0.75) * boils_s), 0.8 * water_g)]
        case _:
            deeds = [on(on_s, water_g), lifted]
    if vessel.lid_g > 0.0 and kind.pot in ("keeps", "lifts"):
        deeds.append(Deed("lid_off" if lid else "lid_on", on_s + boils_s * between(rng, 0.4, 0.8)))
    return deeds


def _refuels(kind: Kind, stove: Stove, lit_s: float, rng: np.random.Generator) -> list[Deed]:
    deeds: list[Deed] = []
    batch_g, moisture = stove.charge.mass_g, stove.charge.moisture_wet
    at_s = lit_s + stove.burns_s * between(rng, 0.45, 0.8)
    for _ in range(int(rng.integers(kind.refuels[0], kind.refuels[1] + 1))):
        total_g = batch_g * (between(rng, 0.05, 0.15) if kind.by_spoon else between(rng, 0.15, 0.45))
        count = int(rng.integers(1, 5)) if kind.by_spoon else int(rng.integers(1, 8))
        shares = rng.dirichlet(np.full(count, 5.0))
        offsets = np.concatenate(([0.0], np.cumsum(rng.gamma(2.0, 1.6, count - 1))))
        portions = tuple((float(o), float(total_g * s)) for o, s in zip(offsets, shares, strict=True))
        deeds.append(Deed("refuel", at_s, portions=portions, moisture_wet=moisture))
        at_s += total_g / stove.rate_g_s * between(rng, 0.6, 1.0) + 45.0
    return deeds


def _mishap(kind: Kind, at_s: float, rng: np.random.Generator) -> Deed:
    rough = float(np.exp(rng.normal(0.0, 0.5)))
    draw = rng.random()
    if draw < 0.45:
        return Deed("poke", at_s, lasts_s=between(rng, 1.0, 8.0), rough=rough, amount_g=between(rng, 0.0, 1.5))
    if draw < 0.75:
        return Deed("bump", at_s, rough=rough)
    force_g = between(rng, 3.0, 12.0) * float(rng.choice((-1.0, 1.0)))
    return Deed("tug", at_s, amount_g=force_g, lasts_s=between(rng, 15.0, 90.0))
