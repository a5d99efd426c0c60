"""Boils as a live run sees them, on knees whose moment is known."""

import numpy as np
import pytest
from numpy.typing import NDArray
from uncertainties import ufloat

from column_fixture import column
from emberline.curves.boil import WaterProbe
from emberline.curves.events import Event
from emberline.curves.grid import Column
from emberline.trials.live_boil import BoilWatch, Taken

Array = NDArray[np.float64]
BOILING = ufloat(99.3, 0.3)
PROBE = WaterProbe(0.5, 2.0, 0.5)


def water(moments_s: list[float], temperatures_c: list[float], n: int, seed: int = 1) -> Column:
    """Straight pieces seen through a probe with a lag of 2 s."""
    t = np.arange(n) + 0.5
    true = np.interp(t, moments_s, temperatures_c)
    seen = true.copy()
    for i in range(1, n):
        seen[i] = seen[i - 1] + (true[i] - seen[i - 1]) * (1.0 - np.exp(-0.5))
    return column(seen + np.random.default_rng(seed).normal(0.0, 0.04, n))


def watch(curve: Column, since_s: float = 0.0) -> list[tuple[int, Taken]]:
    """Watch a curve as the tracker does; return what is to be done about it, and when."""
    watcher, boil, taken = BoilWatch(BOILING, PROBE), None, []
    for now in range(2, len(curve) + 1):
        found = watcher.look(curve.between(0, now), now, (since_s, float(now)), boil, None)
        if found is None:
            continue
        taken.append((now, found))
        if found.boil is None:
            boil = None
        else:
            said_s = float(now) if boil is None else boil.announced_t_s
            boil = found.boil.announced(said_s)
    return taken


@pytest.mark.parametrize("rate_k_min", [6.0, 12.0, 25.0])
def test_a_boil_is_told_within_a_dozen_seconds_or_so(rate_k_min: float) -> None:
    boil_s = 60.0 * 81.3 / rate_k_min
    found = watch(water([0.0, boil_s, boil_s + 300.0], [18.0, 99.3, 99.3], int(boil_s) + 200))
    at, first = found[0]
    assert first.boil is not None
    assert abs(first.boil.t_s - boil_s) < 4.0
    assert boil_s < at < boil_s + 14.0
    assert all(one.boil is not None for _, one in found)


def test_the_less_a_plateau_looks_like_boiling_the_longer_it_is_watched() -> None:
    # A fire pauses for half a minute now and then: 3 K low, within this probe's error, it may be either.
    delays_s = []
    for level_c in (99.3, 96.3):
        curve = water([0.0, 480.0, 900.0], [18.0, level_c, level_c], 900)
        watcher = BoilWatch(BOILING, WaterProbe(2.0, 2.0, 0.5))
        looks = ((now, watcher.look(curve.between(0, now), now, (0.0, now), None, None)) for now in range(2, 901))
        delays_s.append(next(now for now, taken in looks if taken is not None) - 480)
    assert delays_s[0] <= 14
    assert delays_s[0] + 10 < delays_s[1] < 60


def test_a_pause_is_not_left_standing_as_a_boil() -> None:
    # Two minutes of rest 2 K below boiling, as where a fire is poked, and then on.
    curve = water([0.0, 480.0, 640.0, 670.0, 900.0], [18.0, 97.3, 97.3, 99.3, 99.3], 900)
    _, last = watch(curve)[-1]
    assert last.boil is None or abs(last.boil.t_s - 665.0) < 8.0


def test_water_that_was_called_boiling_and_grows_hotter_is_taken_back_with_the_reason() -> None:
    *found, (_, last) = watch(water([0.0, 480.0, 560.0, 1400.0], [18.0, 97.5, 97.5, 106.0], 760))
    assert found
    assert all(one.boil is not None for _, one in found)
    assert last.boil is None
    assert "went on warming" in last.back


def test_water_far_from_boiling_asks_nothing() -> None:
    assert watch(water([0.0, 600.0, 1200.0], [18.0, 80.0, 80.0], 1200)) == []


@pytest.mark.parametrize("value", [np.nan, 20.0, 160.0])
def test_a_probe_that_says_nothing_of_use_is_watched_in_silence(value: float) -> None:
    assert watch(column(np.full(300, value))) == []


def test_each_visit_has_its_own_boil() -> None:
    curve = water([0.0, 400.0, 500.0, 510.0, 900.0, 1100.0], [18.0, 99.3, 99.3, 17.0, 99.3, 99.3], 1000)
    watcher = BoilWatch(BOILING, PROBE)
    boils: list[Event] = []
    for now in range(2, 1001, 2):
        visit = (0.0, float(now)) if now < 510 else (510.0, float(now))
        boil = next((one for one in boils if visit[0] <= one.t_s <= visit[1]), None)
        found = watcher.look(curve.between(0, now), now, visit, boil, None)
        if found is not None and found.boil is not None and boil is None:
            boils.append(found.boil.announced(float(now)))
    assert [one.t_s for one in boils] == pytest.approx([400.0, 900.0], abs=4.0)
