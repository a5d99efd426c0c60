"""The end of flame on burns of two regimes whose end is known."""

import re
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from column_fixture import column, seconds
from emberline.curves.events import Event, EventKind
from emberline.curves.fast_loss import FIRST_SHARE
from emberline.curves.flameout import MASS_ONLY_WORDS, OUTLIVES_S, U_FALL_SHARE, U_LEAST_S, Stands, find_flameout
from emberline.curves.grid import Column
from emberline.curves.pot_cools import Turn
from emberline.curves.veiled_fall import veiled_fall
from two_regimes_fixture import FALL_S, LEVEL_G_S, LIT_S, passes_s, probe, rates

Array = NDArray[np.float64]


def out_s(falls_over_s: float = 60.0) -> float:
    """Half-way between the foot of the fall and where flames begin to end."""
    return 0.5 * (FALL_S + falls_over_s + passes_s(FIRST_SHARE, falls_over_s))


def found(rate_g_s: Array, flame: Column | None = None, refuels_s: tuple[float, ...] = (), lag_s: float = 4.0) -> Event:
    event = find_flameout(rate_g_s, LIT_S, refuels_s, flame, flame_lag_s=lag_s)
    assert event is not None
    assert event.kind is EventKind.FLAMEOUT
    return event


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("falls_over_s", [15.0, 60.0, 150.0])
def test_the_load_cell_alone_sees_the_end_of_fast_loss(falls_over_s: float, seed: int) -> None:
    event = found(rates(falls_over_s=falls_over_s, seed=seed))
    assert abs(event.t_s - out_s(falls_over_s)) < max(8.0, 0.15 * falls_over_s)
    assert abs(event.t_s - out_s(falls_over_s)) < 2.0 * event.u_s
    # Observed ends of flame scatter by more than the fit does, however sharp the fall.
    assert event.u_s >= 10.0
    assert not event.confirmed
    assert MASS_ONLY_WORDS in event.evidence


def test_the_longer_the_fall_the_less_is_known() -> None:
    assert found(rates(falls_over_s=200.0)).u_s > 1.25 * found(rates(falls_over_s=20.0)).u_s


def test_char_that_glows_brightly_ends_no_flame_later() -> None:
    # A tail above the share: the foot of the fall is all there is, and low flames flicker on past it.
    event = found(rates(tail_g_s=0.25 * LEVEL_G_S))
    assert abs(event.t_s - (FALL_S + 60.0 + OUTLIVES_S)) < 9.0


def test_over_brightly_glowing_char_less_is_known() -> None:
    bright, faint = (found(rates(tail_g_s=share * LEVEL_G_S, falls_over_s=150.0)) for share in (0.18, 0.12))
    assert bright.u_s > 1.2 * faint.u_s


def test_a_fall_whose_tail_was_hardly_seen_may_go_on() -> None:
    # A rate that dies away exponentially passes for a straight fall and a level at any moment.
    dying = np.where(seconds(1800) > FALL_S, 0.14 * np.exp(-(seconds(1800) - FALL_S) / 80.0) + 0.01, rates(1800))
    whole, early = found(dying), found(dying[: int(FALL_S) + 190])
    assert early.t_s < whole.t_s < early.t_s + 1.96 * early.u_s
    assert early.u_s > 1.2 * found(rates(falls_over_s=120.0)).u_s


@pytest.mark.parametrize("seen_s", [90.0, 150.0, 300.0, 540.0])
def test_where_the_record_ends_does_not_matter(seen_s: float) -> None:
    whole = found(rates())
    cut = int(out_s() + seen_s)
    assert abs(found(rates()[:cut]).t_s - whole.t_s) < 6.0
    flame = probe()
    with_probe = found(rates(), flame)
    assert abs(found(rates()[:cut], flame.between(0, cut)).t_s - with_probe.t_s) < 6.0


def test_a_fire_that_still_burns_has_no_flameout() -> None:
    assert find_flameout(rates()[:880], LIT_S, (), None) is None
    assert find_flameout(rates()[:880], LIT_S, (), probe().between(0, 880)) is None


def test_what_never_burnt_has_no_flameout() -> None:
    assert find_flameout(np.full(900, 0.002), None, (), None) is None
    assert find_flameout(np.zeros(900), None, (), column(np.full(900, 18.0))) is None


def test_a_flash_is_no_burn() -> None:
    rate = np.interp(seconds(600), [60.0, 62.0, 85.0, 90.0], [0.0, 0.2, 0.2, 0.0])
    assert find_flameout(rate, 60.0, (), None) is None


def test_a_slope_without_two_regimes_is_no_flameout() -> None:
    # A load cell that settles: the loss dies away from the first second on, in proportion to what is left.
    assert find_flameout(0.02 * np.exp(-seconds(300) / 900.0), None, (), None) is None


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("lag_s", [1.0, 4.0, 12.0, 34.0])
def test_a_flame_probe_tells_it_to_seconds(lag_s: float, seed: int) -> None:
    event = found(rates(seed=seed), probe(lag_s=lag_s, seed=10 + seed), lag_s=lag_s)
    assert event.confirmed
    assert abs(event.t_s - 950.0) < 15.0
    assert abs(event.t_s - 950.0) < max(5.0, 3.0 * event.u_s)
    assert MASS_ONLY_WORDS not in event.evidence


def test_a_flame_probe_alone_is_enough() -> None:
    event = found(np.full(1500, np.nan), probe())
    assert abs(event.t_s - 950.0) < 10.0


def test_a_probe_that_stood_beside_the_flame_has_no_vote() -> None:
    event = found(rates(), column(20.0 + 60.0 * np.clip((seconds(1500) - 60.0) / 300.0, 0.0, 1.0)))
    assert not event.confirmed
    assert abs(event.t_s - out_s()) < 10.0


def test_a_probe_whose_lead_breaks_leaves_the_word_to_the_load() -> None:
    flame = probe()
    flame.value[400:] = np.nan
    event = found(rates(), flame)
    assert not event.confirmed
    assert abs(event.t_s - out_s()) < 10.0


def test_a_probe_that_falls_out_of_the_flame_ends_no_fire() -> None:
    event = found(rates(), probe(ends_s=500.0, after_c=60.0))
    assert abs(event.t_s - out_s()) < 15.0
    assert not event.confirmed


@pytest.mark.parametrize("steam_g_s", [0.06, 0.12])
def test_a_pot_that_goes_on_steaming_does_not_refute_a_probe_over_glowing_char(steam_g_s: float) -> None:
    # Water of which nobody knows: most of the loss goes on after the flame, and may pass for fuel.
    steaming = rates() + steam_g_s * np.clip((seconds(1500) - 300.0) / 300.0, 0.0, 1.0)
    event = found(steaming, probe(after_c=300.0))
    assert event.confirmed
    assert abs(event.t_s - 950.0) < 10.0


def test_a_flame_that_burns_on_low_has_not_ended_for_the_load() -> None:
    # The last sticks burn away over a quarter of an hour, and the probe flickers on.
    low = np.where(seconds(1500) > 960.0, 0.8, 1.0)
    burning = probe(ends_s=1600.0)
    burning.value[:] = 20.0 + low * (burning.value - 20.0)
    assert find_flameout(rates(), LIT_S, (), burning) is None
    assert find_flameout(rates()[:975], LIT_S, (), burning.between(0, 975)) is None
    assert find_flameout(rates(), LIT_S, (), None) is not None


def test_a_probe_that_falls_out_while_it_still_burns_ends_no_fire() -> None:
    flame = probe(ends_s=500.0, after_c=60.0)
    assert find_flameout(rates()[:800], LIT_S, (), flame.between(0, 800)) is None


def test_char_smothered_later_is_not_the_end_of_flame() -> None:
    flame = probe()
    smothered = np.maximum(seconds(1500) - 1130.0, 0.0)
    flame.value[:] = np.where(smothered > 0.0, 40.0 + 390.0 * np.exp(-smothered / 40.0), flame.value)
    rate = np.where(seconds(1500) > 1130.0, 0.0, rates())
    assert abs(found(rate, flame).t_s - 950.0) < 20.0


def test_witnesses_that_disagree_know_less() -> None:
    agreed = found(rates(), probe(ends_s=out_s()))
    apart = found(rates(), probe(ends_s=out_s() - 45.0))
    assert apart.u_s > 2.0 * agreed.u_s
    # When the load saw it is told from the event, as no table beside it counts from the record's first sample.
    said = re.search(r", its end (\d+) s later$", apart.evidence)
    assert said is not None
    assert abs(int(said[1]) - 45) < 15


def test_steam_on_the_same_cell_is_said_and_widens() -> None:
    dry = found(rates())
    steaming = np.zeros(1500, dtype=np.bool_)
    steaming[700:1200] = True
    wet = find_flameout(rates(), LIT_S, (), None, steaming=steaming)
    assert wet is not None
    assert wet.u_s > dry.u_s
    assert "water was boiling" in wet.evidence


def test_water_that_turned_to_cooling_is_weighed_with_the_load() -> None:
    alone = found(rates(falls_over_s=200.0))
    turn = Turn(alone.t_s - 40.0, alone.u_s, 0.0, -0.05)
    both = find_flameout(rates(falls_over_s=200.0), LIT_S, (), None, turn=turn)
    assert both is not None
    assert both.t_s == pytest.approx(alone.t_s - 20.0, abs=0.1)
    assert both.u_s == pytest.approx(alone.u_s / 2.0**0.5, rel=0.01)
    assert "turned from +0.0 to -3.0 K/min" in both.evidence
    assert MASS_ONLY_WORDS in both.evidence
    # Where they disagree by more, neither is sure to be the better.
    apart = find_flameout(
        rates(falls_over_s=200.0), LIT_S, (), None, turn=replace(turn, t_s=alone.t_s - 2.5 * alone.u_s)
    )
    assert apart is not None
    assert apart.u_s == pytest.approx(1.25 * alone.u_s, rel=0.01)
    # What turned at quite another time was another fire's end, or cold water.
    other = find_flameout(rates(falls_over_s=200.0), LIT_S, (), None, turn=replace(turn, t_s=300.0))
    assert other == alone


def test_steam_that_is_left_is_no_bright_char() -> None:
    # Two fifths of the loss are a pot's steam, which dies away as it cools.
    t = seconds(2100)
    steam = 0.1 * np.clip((t - 200.0) / 400.0, 0.0, 1.0) * np.exp(-np.maximum(t - FALL_S - 60.0, 0.0) / 700.0)
    steaming = rates(2100) + steam
    fall = veiled_fall(steaming, LIT_S, (), 2100.0)
    event = find_flameout(steaming, LIT_S, (), None, stands=Stands(2100.0, True))
    assert fall is not None
    assert event is not None
    assert event.t_s == fall.foot_s
    assert event.u_s == pytest.approx(
        np.hypot(np.hypot(U_FALL_SHARE * fall.length_s, fall.blurred_s), U_LEAST_S), rel=0.01
    )


def test_an_end_that_coincides_with_the_lifting_of_a_steaming_pot_is_less_sure() -> None:
    # Lifted too soon after the flame for its steam to be told from fuel.
    t = seconds(2100)
    lifted_s = FALL_S + 120.0
    steam = 0.09 * np.clip((t - 200.0) / 400.0, 0.0, 1.0) * (t < lifted_s)
    seen = find_flameout(rates(2100) + steam, LIT_S, (), None, stands=Stands(lifted_s, True))
    plain = find_flameout(rates(2100) + steam, LIT_S, (), None)
    assert seen is not None
    assert plain is not None
    assert seen.u_s > plain.u_s + 20.0
    assert abs(seen.t_s - (FALL_S + 60.0)) < 1.96 * seen.u_s


def test_steam_that_ends_as_the_pot_is_lifted_is_no_end_of_flame() -> None:
    # Nobody saw it as steam: the fuel seems to burn on at two fifths until somebody takes the pot.
    t = seconds(2100)
    lifted_s = FALL_S + 300.0
    steam = 0.09 * np.clip((t - 200.0) / 400.0, 0.0, 1.0) * (t < lifted_s)
    event = find_flameout(rates(2100) + steam, LIT_S, (), None, stands=Stands(lifted_s, False))
    assert event is not None
    assert abs(event.t_s - FALL_S) < 60.0
    # Water that still warmed afterwards did so over a fire.
    heated = find_flameout(rates(2100) + steam, LIT_S, (), None, stands=Stands(lifted_s, False, FALL_S + 200.0))
    assert heated is not None
    assert abs(heated.t_s - lifted_s) < 60.0
    # A pot that is lifted as the flame ends hides nothing.
    alone = find_flameout(rates(2100), LIT_S, (), None)
    assert find_flameout(rates(2100), LIT_S, (), None, stands=Stands(FALL_S + 5.0, False)) == alone


def dipped(curve: Array, at_s: int, *, sinks_to: float, for_s: int = 60) -> Array:
    """Smother a fire for a while, as cold fuel does; it recovers within half a minute."""
    t = seconds(len(curve))
    points = [at_s - 5.0, at_s + 5.0, at_s + for_s, at_s + for_s + 30.0]
    return curve * np.interp(t, points, [1.0, sinks_to, sinks_to, 1.0])


@pytest.mark.parametrize("sinks_to", [0.05, 0.2, 0.4])
def test_a_refuel_dip_is_not_the_end(sinks_to: float) -> None:
    rate = dipped(rates(), 500, sinks_to=sinks_to)
    assert abs(found(rate, refuels_s=(500.0,)).t_s - out_s()) < 10.0
    flame = probe()
    flame.value[:] = dipped(flame.value, 500, sinks_to=0.55)
    assert abs(found(rate, flame, refuels_s=(500.0,)).t_s - 950.0) < 15.0


def test_a_fire_that_burns_lower_after_a_late_refuel_still_ends() -> None:
    late = np.where(seconds(1500) > 600.0, 0.5, 1.0) * rates()
    event = found(dipped(late, 600, sinks_to=0.1), refuels_s=(600.0,))
    assert abs(event.t_s - out_s()) < 15.0


def test_the_second_of_two_burns_counts() -> None:
    rate = dipped(rates(), 400, sinks_to=0.03, for_s=200)
    assert abs(found(rate).t_s - out_s()) < 10.0


def test_gaps_in_the_rate_are_bridged() -> None:
    rate = rates()
    rate[300:360] = np.nan
    rate[940:955] = np.nan
    assert abs(found(rate).t_s - out_s()) < 20.0


def test_a_record_that_began_mid_burn_ends_all_the_same() -> None:
    event = find_flameout(rates()[300:], None, (), None)
    assert event is not None
    assert abs(event.t_s + 300.0 - out_s()) < 10.0


@pytest.mark.parametrize("n", [0, 1, 20, 50])
def test_a_record_of_next_to_nothing_has_no_flameout(n: int) -> None:
    assert find_flameout(np.full(n, 0.1), None, (), None) is None
    assert find_flameout(np.full(n, np.nan), None, (), column(np.full(n, np.nan))) is None


@pytest.mark.parametrize("falls_over_s", [30.0, 120.0, 300.0])
def test_no_flame_ends_after_its_record(falls_over_s: float) -> None:
    rate = rates(falls_over_s=falls_over_s)
    for end_s in range(930, 1300, 5):
        found = find_flameout(rate[:end_s], LIT_S, [], None)
        assert found is None or found.t_s <= end_s
