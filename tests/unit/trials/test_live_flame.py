"""When an end of flame is believed, and when a fire is back."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from column_fixture import column
from emberline.curves.events import Event, EventKind
from emberline.curves.fast_loss import REFUEL_GRACE_S
from emberline.curves.flame_probe import TAIL_S
from emberline.curves.grid import Column
from emberline.trials.live_flame import (
    BACK_S,
    KINDLED_S,
    LOAD_TAIL_S,
    RELIGHT_S,
    STEADY_S,
    U_AHEAD_S,
    FlameWatch,
    as_announced,
)

Array = NDArray[np.float64]
OUT_S = 700.0
OUT = Event(EventKind.FLAMEOUT, OUT_S, 5.0, "")


def rate(n: int, back_s: float | None = None) -> Array:
    """A fire of 9 g/min that ends, and perhaps is back."""
    t = np.arange(n, dtype=np.float64)
    burns = (t > 80.0) & (t < OUT_S) if back_s is None else (t > 80.0) & ((t < OUT_S) | (t > back_s))
    return np.where(burns, 0.15, np.where(t > 80.0, 0.012, 0.0))


def flame(n: int, back_s: float | None = None, seed: int = 1) -> Column:
    t = np.arange(n, dtype=np.float64)
    burns = rate(n, back_s) > 0.1
    rng = np.random.default_rng(seed)
    glow = 330.0 + 290.0 * np.exp(-np.maximum(t - OUT_S, 0.0) / 15.0)
    return column(np.where(burns, 620.0 + rng.normal(0.0, 30.0, n), np.where(t > OUT_S, glow, 18.0)))


def sure_at(
    watch: FlameWatch, fed: list[tuple[float, float]], seconds: range, probe: bool = True, lit_s: float | None = 80.0
) -> int | None:
    for now in seconds:
        column_now = flame(now) if probe else None
        if watch.sure(OUT, rate(now), lit_s, fed, column_now):
            return now
    return None


def test_a_fire_that_burns_is_not_sinking_and_one_that_ended_is() -> None:
    assert not FlameWatch.sinking(rate(600), flame(600), 600)
    assert FlameWatch.sinking(rate(740), flame(740), 740)
    assert not FlameWatch.sinking(rate(740), flame(740, back_s=600.0), 740)
    assert not FlameWatch.sinking(None, None, 740)
    assert FlameWatch.sinking(None, flame(740), 740)


def test_a_pot_that_goes_on_steaming_does_not_keep_a_cold_probe_from_being_asked() -> None:
    assert FlameWatch.sinking(rate(740) + 0.3, flame(740), 740)
    assert not FlameWatch.sinking(rate(740) + 0.3, None, 740)
    speechless = column(np.where(np.arange(740) < 600, flame(740).value, np.nan))
    assert not FlameWatch.sinking(rate(740) + 0.3, speechless.between(600, 740), 740)
    # What the detector took from a probe it has weighed against the load; the load's own word needs a load that sank.
    watches = FlameWatch(), FlameWatch()
    seen, unseen = [], []
    for now in range(710, 860, 5):
        seen.append(watches[0].sure(OUT, rate(now) + 0.1, 80.0, [], flame(now)))
        unseen.append(watches[1].sure(replace(OUT, confirmed=False), rate(now) + 0.1, 80.0, [], None))
    assert seen == [now >= OUT_S + TAIL_S for now in range(710, 860, 5)]
    assert not any(unseen)


@pytest.mark.parametrize("probe", [True, False])
def test_the_same_end_must_be_found_for_a_while(probe: bool) -> None:
    at = sure_at(FlameWatch(), [], range(710, 800, 5), probe)
    assert at is not None
    assert 710 + STEADY_S <= at <= 735


def first_said_s(event: Event) -> int:
    watch = FlameWatch()
    return next(now for now in range(705, 1000, 5) if watch.sure(event, rate(now), 80.0, [], None))


def test_what_the_load_alone_shows_is_believed_once_its_tail_was_seen_for_longer() -> None:
    assert first_said_s(OUT) < OUT_S + LOAD_TAIL_S == first_said_s(replace(OUT, confirmed=False))


def test_an_end_that_moves_is_not_believed() -> None:
    watch = FlameWatch()
    for now in range(710, 800, 5):
        moved = Event(EventKind.FLAMEOUT, OUT_S + 1.0 * (now - 710), 5.0, "")
        assert not watch.sure(moved, rate(now), 80.0, [], None)


def test_after_an_addition_the_dip_is_waited_out() -> None:
    for fed_s in (OUT_S - 150.0, OUT_S + 30.0):
        at = sure_at(FlameWatch(), [(fed_s, 60.0)], range(710, 1000, 5))
        assert at is not None
        assert at == pytest.approx(max(fed_s + REFUEL_GRACE_S, OUT_S + TAIL_S), abs=6.0)


def test_fuel_thrown_on_before_an_end_is_announced_may_catch_whenever_that_end_was() -> None:
    watch, unsure, fed = FlameWatch(), replace(OUT, confirmed=False), [(OUT_S + 65.0, 60.0)]
    for now in range(710, int(OUT_S + 60), 5):
        assert not watch.sure(unsure, rate(now), 80.0, [], None)
    later = [now for now in range(int(OUT_S + 70), 1000, 5) if watch.sure(unsure, rate(now), 80.0, fed, None)]
    assert later[0] == OUT_S + 65.0 + REFUEL_GRACE_S


@pytest.mark.parametrize("after_s", [-5.0, 40.0, 110.0])
def test_a_fire_that_fresh_fuel_smothered_may_catch_again(after_s: float) -> None:
    fed = [(OUT_S - after_s, 60.0)]
    assert sure_at(FlameWatch(), fed, range(710, int(OUT_S - after_s + RELIGHT_S), 5)) is None
    assert sure_at(FlameWatch(), fed, range(1250, 1400, 5)) is not None


def test_a_spoonful_that_burnt_off_smothered_nothing() -> None:
    at = sure_at(FlameWatch(), [(OUT_S - 80.0, 10.0)], range(710, 1000, 5))
    assert at == OUT_S - 80.0 + REFUEL_GRACE_S


@pytest.mark.parametrize(("lit_s", "told"), [(OUT_S - KINDLED_S + 1.0, False), (OUT_S - KINDLED_S, True), (None, True)])
def test_a_starter_that_burns_off_before_the_fuel_has_caught_is_no_fire_that_went_out(
    lit_s: float | None, told: bool
) -> None:
    assert (sure_at(FlameWatch(), [], range(710, 800, 5), lit_s=lit_s) is not None) is told


@pytest.mark.parametrize("probe", [True, False])
def test_a_fire_that_is_back_is_said_to_be_so_once_it_lasts(probe: bool) -> None:
    watch = FlameWatch()
    assert sure_at(watch, [], range(710, 800, 5), probe) is not None
    back = []
    for now in range(740, 1000, 10):
        why = watch.back(OUT, rate(now, 860.0), flame(now, 860.0) if probe else None, now)
        if why:
            back.append((now, why))
    at, why = back[0]
    assert 860 + BACK_S <= at < 910
    assert why.startswith("the fire burns again: the load cell loses 9.0 g/min")
    assert ("flame probe" in why) == probe


def test_a_gust_or_a_probe_alone_brings_no_fire_back() -> None:
    watch = FlameWatch()
    assert sure_at(watch, [], range(710, 800, 5)) is not None
    for now in range(740, 1000, 10):
        gust = rate(now)
        gust[-15:] += 0.3 if now % 40 == 0 else 0.0
        assert watch.back(OUT, gust, flame(now), now) == ""
        assert watch.back(OUT, rate(now), flame(now, 860.0), now) == ""


def test_a_flame_that_no_probe_saw_end_may_live_on() -> None:
    assert as_announced(OUT, 760) == OUT
    soon, late = (as_announced(replace(OUT, confirmed=False), int(OUT_S) + after_s) for after_s in (0, 90))
    assert soon.t_s == late.t_s == OUT.t_s
    assert soon.u_s == pytest.approx((OUT.u_s**2 + U_AHEAD_S**2) ** 0.5)
    # Alike at any moment since: a third of the square of ninety seconds.
    assert late.u_s == pytest.approx((soon.u_s**2 + 90.0**2 / 3.0) ** 0.5)
