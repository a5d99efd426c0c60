from dataclasses import replace

import numpy as np
import pytest
from uncertainties import ufloat

from emberline.trials.guide.level import Level
from emberline.trials.guide.weighing import Stand, offers
from unit.trials.guide.weighing_table import Table, cell

SPAN = ufloat(0.0, 0.002)
THINGS_G = {"stove": 640.0, "fuel": 330.0, "starter": 6.0, "pot": 312.0, "water": 500.0}


def level(mean_g: float, *, seconds: int = 10, steady: bool = True, at_s: float = 0.0) -> Level:
    return Level(mean_g, 0.05, int(at_s * 1e9), seconds, steady)


def after(*levels: Level) -> Stand:
    stand = Stand()
    for one in levels:
        stand = stand.seen(one)
    return stand


def test_nothing_is_offered_before_the_scale_is_steady_and_something_was_put_on() -> None:
    stand = after(level(1000.0))
    assert offers(level(1330.0, steady=False), stand, cell(), SPAN) == []
    assert offers(level(1000.1), stand, cell(), SPAN) == []
    assert offers(level(1330.0), Stand(), cell(), SPAN) == []


def test_what_is_added_is_a_difference() -> None:
    (offer,) = offers(level(1330.0), after(level(1000.0)), cell(), SPAN)
    assert offer.how == "added"
    assert offer.mass_g == pytest.approx(330.0)
    assert "1330.0 g now, 1000.0 g before" in offer.words


def test_what_is_put_alone_on_the_cleared_scale_is_told_from_what_is_added() -> None:
    stand = after(level(1000.0), level(2.0))
    (alone,) = offers(level(332.0), stand, cell(), SPAN)
    assert alone.how == "alone"
    assert alone.mass_g == pytest.approx(330.0)
    # The stove was taken off, filled and put back: both are possible, the added one first.
    both = offers(level(1330.0), stand, cell(), SPAN)
    assert [one.how for one in both] == ["added", "alone"]
    assert [one.mass_g for one in both] == pytest.approx([330.0, 1328.0])


def test_a_pot_filled_at_the_tap_is_weighed_less_the_pot() -> None:
    stand = after(level(1320.0), level(0.0))
    alone = offers(level(812.0), stand, cell(), SPAN, holder_g=(312.0, 0.5, "the pot"))
    assert [one.how for one in alone] == ["alone"]
    assert alone[0].mass_g == pytest.approx(500.0)
    assert "less 312.0 g for the pot" in alone[0].words


def test_an_untouched_scale_moves_its_own_reference() -> None:
    stand = after(level(1000.0), level(1000.1), level(1000.2), level(1000.3))
    (offer,) = offers(level(1304.0), stand, cell(), SPAN)
    assert offer.mass_g == pytest.approx(303.7)


def test_the_known_span_is_taken_off_and_its_uncertainty_kept() -> None:
    (offer,) = offers(level(1500.0), after(level(1000.0)), cell(), ufloat(-0.004, 0.0005))
    assert offer.mass_g == pytest.approx(498.0)
    assert offer.u_g == pytest.approx(np.hypot(0.25, 0.19), abs=0.05)


@pytest.mark.parametrize("apart", [False, True])
@pytest.mark.parametrize(("noise_g", "wind_g"), [(0.1, 0.0), (0.2, 0.8)])
def test_weights_cover_what_was_put_on_in_95_of_100(noise_g: float, wind_g: float, apart: bool) -> None:
    """A channel that says what the simulated cell is: 1 g of drift an hour, a span good to 0.1 %."""
    channel = replace(cell(), u_drift_per_hour=1.0, u_scale=0.001)
    inside = dict.fromkeys(THINGS_G, 0)
    runs = 40
    for seed in range(runs):
        weighed_apart = False
        span = 1.0 + float(np.random.default_rng(seed).normal(0.0, 0.001))
        table = Table(seed, noise_g=noise_g, wind_g=wind_g, span=span)
        table.wait(10.0)
        at = table.until_steady()
        for name, mass_g in THINGS_G.items():
            stand = Stand().seen(at)
            if apart and table.load_g:
                table.put(-table.load_g, then_s=8.0)
                stand = stand.seen(table.until_steady())
            table.put(mass_g, then_s=8.0)
            at = table.until_steady()
            for _ in range(4):
                found = offers(at, stand, channel, ufloat(0.0, 0.001), apart=weighed_apart)
                if found:
                    break
                at = table.wait(5.0)
            assert found, (seed, name, at)
            weighed_apart = found[0].how == "alone"
            inside[name] += abs(found[0].mass_g - mass_g) < 1.96 * found[0].u_g
    assert sum(inside.values()) >= 0.93 * runs * len(THINGS_G)
    assert min(inside.values()) >= 0.85 * runs


def test_a_little_starter_is_seen_however_long_it_stands_before_it_is_taken() -> None:
    stand = after(level(700.0))
    (offer,) = offers(level(702.0, at_s=1_800.0), stand, cell(), SPAN)
    assert offer.mass_g == pytest.approx(2.0)
    assert offer.u_g == pytest.approx(2.0 * 0.5**0.5, abs=0.1)  # what the zero may have wandered in half an hour
