from dataclasses import replace

import numpy as np
import pytest

from emberline.bench.calibration import Linear, ThermocoupleCode
from emberline.bench.channels import Channel, Role, Warmth, default_channel
from emberline.bench.samples import FLAG_FAULT, Curve, SampleBatch
from emberline.curves.grid import grid_of
from emberline.curves.warmth import without_warmth
from emberline.trials.trial import KEPT_S, LATEST_S, GrowingGrid, NewestSamples, calibrated
from unit.store.made_up import NOON_NS, SECOND_NS

CHANNELS = {role: default_channel(role) for role in (Role.MASS, Role.WATER, Role.AMBIENT)}


def batch(name: str, t_s: list[float], value: list[float], first_seq: int = 0, flags: int = 0) -> SampleBatch:
    t_ns = NOON_NS + np.rint(np.array(t_s) * SECOND_NS).astype(np.int64)
    return SampleBatch("dev", 1, name, first_seq, t_ns, np.array(value), np.full(len(t_s), flags, dtype=np.uint8))


def test_samples_are_calibrated_from_the_start_of_the_trial() -> None:
    scale = Channel("scale", Role.MASS, "g", Linear(100.0, 2.0))
    curves = NewestSamples({Role.MASS: scale}, NOON_NS)
    curves.add([batch("scale", [0.5, 1.5], [300.0, 500.0]), batch("other", [1.0], [7.0])])
    assert curves.known(Role.MASS, 0.0, 10.0) == ([0.5, 1.5], [100.0, 200.0])


def test_a_fault_is_no_value() -> None:
    curves = NewestSamples(CHANNELS, NOON_NS)
    curves.add([batch("water", [0.5], [20.0]), batch("water", [1.5], [0.0], flags=FLAG_FAULT)])
    assert curves.known(Role.WATER, 0.0, 10.0) == ([0.5], [20.0])


def test_late_samples_find_their_place() -> None:
    curves = NewestSamples(CHANNELS, NOON_NS)
    curves.add([batch("mass", [5.0, 6.0], [5.0, 6.0]), batch("mass", [1.0, 2.0], [1.0, 2.0])])
    assert curves.known(Role.MASS, 0.0, 10.0)[1] == [1.0, 2.0, 5.0, 6.0]
    assert curves.known(Role.MASS, 2.0, 6.0)[1] == [2.0, 5.0]
    assert curves.known(Role.AMBIENT, 0.0, 10.0) == ([], [])


def test_a_flat_converter_is_made_linear_with_its_cold_junction() -> None:
    flat = Channel("water", Role.WATER, "c", ThermocoupleCode("K", 0.25, 41.276))
    growing = NewestSamples({Role.WATER: flat}, NOON_NS)
    growing.add([batch("water.cold_junction", [0.0, 10.0], [20.0, 22.0]), batch("water", [5.0], [400.0])])
    expected = flat.calibration.apply(np.array([400.0]), np.array([21.0]))
    assert growing.known(Role.WATER, 0.0, 10.0) == ([5.0], expected.tolist())


def test_calibrating_leaves_unknown_values_unknown() -> None:
    channel = Channel("mass", Role.MASS, "g", Linear(0.0, 2.0))
    np.testing.assert_array_equal(calibrated(channel, np.arange(2.0), np.array([np.nan, 4.0])), [np.nan, 2.0])


def test_a_second_is_complete_once_every_deciding_channel_has_gone_past_it() -> None:
    growing = GrowingGrid(CHANNELS, NOON_NS)
    assert growing.add([batch("mass", [0.2, 1.2, 2.2], [1.0, 2.0, 3.0])]) == 0
    assert growing.add([batch("water", [0.4, 1.4], [20.0, 21.0])]) == 1
    assert growing.add([batch("water", [3.1], [22.0])]) == 2
    grid = growing.grid()
    assert set(grid.columns) == {Role.MASS, Role.WATER}
    assert grid.columns[Role.MASS].value.tolist() == [1.0, 2.0]
    assert growing.grid(1).columns[Role.WATER].value.tolist() == [20.0]


def test_a_channel_that_has_vanished_is_not_waited_for_for_ever() -> None:
    growing = GrowingGrid(CHANNELS, NOON_NS)
    growing.add([batch("water", [0.5], [20.0])])
    seconds = np.arange(0.5, LATEST_S + 5.0)
    complete = [growing.add([batch("mass", [t], [t])]) for t in seconds.tolist()]
    assert complete[int(LATEST_S) - 1] == 0
    assert complete[-1] == int(seconds[-1])


@pytest.mark.parametrize("portion", [1, 7, 100])
def test_the_grid_that_grew_is_the_grid_of_the_whole_record(portion: int) -> None:
    rng = np.random.default_rng(5)
    t_s = {"mass": np.sort(rng.uniform(0, 100, 900)), "water": np.sort(rng.uniform(0, 100, 350))}
    value = {name: rng.normal(500.0, 3.0, len(t)) for name, t in t_s.items()}
    growing = GrowingGrid(CHANNELS, NOON_NS)
    for low in range(0, 100, portion):
        for name, t in t_s.items():
            inside = (t >= low) & (t < low + portion)
            growing.add([batch(name, t[inside].tolist(), value[name][inside].tolist())] if inside.any() else [])
    grown = growing.grid()
    whole = grid_of(
        {
            Role.MASS: Curve(np.rint(t_s["mass"] * 1e9) / 1e9, value["mass"]),
            Role.WATER: Curve(np.rint(t_s["water"] * 1e9) / 1e9, value["water"]),
        }
    )
    assert grown.n >= 98
    for role in (Role.MASS, Role.WATER):
        for part in ("t_s", "value", "spread", "count"):
            np.testing.assert_array_equal(
                getattr(grown.columns[role], part), getattr(whole.columns[role], part)[: grown.n]
            )


def test_how_much_of_the_newest_seconds_was_at_the_converters_end() -> None:
    cell = Channel("scale", Role.MASS, "g", Linear(0.0, 400.0))
    curves = NewestSamples({Role.MASS: cell, Role.WATER: CHANNELS[Role.WATER]}, NOON_NS)
    assert curves.beyond(Role.MASS, 0.0, 10.0) == 0.0
    # The codes at both ends of a signed 24-bit converter.
    curves.add([batch("scale", [1.0, 2.0, 3.0, 4.0, 5.0, 6.0], [4e5, 4e5, 8388607.0, -8388608.0, 4e5, 8388607.0])])
    assert curves.beyond(Role.MASS, 0.0, 4.5) == 0.5
    assert curves.beyond(Role.MASS, 2.5, 4.5) == 1.0
    assert curves.beyond(Role.WATER, 0.0, 10.0) == 0.0
    # However much came at once, an earlier moment is judged by its own samples.
    many = np.arange(7.0, 5_007.0)
    curves.add([batch("scale", many.tolist(), [4e5] * len(many), first_seq=6)])
    assert curves.beyond(Role.MASS, 2.5, 4.5) == 1.0


def test_what_is_let_go_of_is_samples_before_a_time_but_never_the_last_known_cold_junction() -> None:
    flat = Channel("water", Role.WATER, "c", ThermocoupleCode("K", 0.25, 41.276))
    samples = NewestSamples({Role.WATER: flat}, NOON_NS)
    cold = batch("water.cold_junction", [0.0, 10.0, 20.0], [20.0, 22.0, np.nan])
    samples.add([cold, batch("water", [5.0, 25.0], [400.0, 400.0])])
    samples.forget(24.0)
    expected = flat.calibration.apply(np.array([400.0]), np.array([22.0]))
    assert samples.known(Role.WATER, 0.0, 30.0) == ([25.0], expected.tolist())
    assert samples.newest_s() == {Role.WATER: 25.0}


def test_samples_of_an_hour_are_not_kept_beside_its_grid() -> None:
    growing = GrowingGrid(CHANNELS, NOON_NS)
    for second in range(3_600):
        growing.add([batch(name, [second + 0.5], [1.0]) for name in ("mass", "water")])
    kept, _ = growing.samples.known(Role.MASS, 0.0, 4_000.0)
    assert KEPT_S <= len(kept) <= KEPT_S + 3
    assert growing.grid().n == 3_599


def test_the_drift_with_the_cells_temperature_is_taken_off_live_as_in_the_final_pass() -> None:
    warm = replace(default_channel(Role.MASS), warmth=Warmth(0.4, 0.01, 0.2))
    channels = {Role.MASS: warm, Role.CELL_TEMPERATURE: default_channel(Role.CELL_TEMPERATURE)}
    seconds = 240
    t_s = [second + 0.4 for second in range(seconds)]
    cell_c = [20.0 + 8.0 * second / seconds for second in range(seconds)]
    mass_g = [500.0 + 0.4 * (value - 20.0) for value in cell_c]
    growing = GrowingGrid(channels, NOON_NS)
    for low in range(0, seconds, 7):
        part = slice(low, low + 7)
        commit = [batch("cell_temperature", t_s[part], cell_c[part], low), batch("mass", t_s[part], mass_g[part], low)]
        growing.add(commit)
    live = growing.grid()
    curves = {
        Role.MASS: Curve(np.array(t_s), np.array(mass_g)),
        Role.CELL_TEMPERATURE: Curve(np.array(t_s), np.array(cell_c)),
    }
    final = without_warmth(grid_of(curves, live.n), channels)
    np.testing.assert_array_equal(live.columns[Role.MASS].value, final.columns[Role.MASS].value)
    assert np.ptp(live.columns[Role.MASS].value[60:]) < 0.01
