"""What a known mass and the empty scale say makes a burn's masses truer: on simulated burns whose truth is known."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from emberline.bench.channels import Channel, Role, Warmth, default_channel
from emberline.bench.plan import parse_plan
from emberline.bench.samples import Curve
from emberline.trials.analysis import analyse
from emberline_sim.files import plan_text
from emberline_sim.recording import Recording, record
from emberline_sim.scenario import parse_scenario
from emberline_sim.specs import AmbientSpec
from live_fixture import short_burn


def burn(*, span: float = 0.0, drift_g_k: float = 0.0, cell_rise_c: float = 8.0) -> Recording:
    """Burn a handful of sticks on a cell with errors of its own."""
    scenario = parse_scenario(short_burn(780.0))
    assert scenario.channels.mass is not None
    mass = replace(scenario.channels.mass, span=span, drift_g_k=drift_g_k, cell_rise_c=cell_rise_c, draught_g=0.0)
    channels = replace(scenario.channels, mass=mass, cell_temperature=AmbientSpec())
    return record(replace(scenario, channels=channels))


def results(
    recording: Recording, told: str, u_drift_per_hour: float = 2.0, cell: Channel | None = None
) -> dict[str, Any]:
    curves = {
        Role(name): Curve(channel.t_s, channel.value)
        for name, channel in recording.channels.items()
        if name in ("mass", "water", "flame", "cell_temperature")
    }
    channels = {role: default_channel(role) for role in curves}
    channels[Role.MASS] = replace(channels[Role.MASS], u_drift_per_hour=u_drift_per_hour, u_scale=0.005)
    if cell is not None:
        channels[Role.MASS] = cell
    plan = parse_plan(f"{plan_text(recording)}\n[load_cell]\n{told}")
    return {name: result.value for name, result in analyse(curves, channels, plan).results.values.items()}


def test_a_known_mass_takes_the_error_of_the_span_off_the_fuel_lost() -> None:
    recording = burn(span=0.012)
    moments = {event.kind: event.t_s for event in recording.truth.events}
    curves = recording.truth.curves
    at_lit, at_end = np.interp([moments["lit"], moments["flameout"]], curves.t_s, curves.fuel_g).tolist()
    told = "known_g = 500\nshown_g = 506\nu_shown_g = 0.1"
    before, after = (results(recording, words)["fuel_mass_lost"] for words in ("", told))
    assert abs(after.n - (at_lit - at_end)) < abs(before.n - (at_lit - at_end))
    assert after.n / before.n == pytest.approx(500.0 / 506.0, abs=2e-3)
    assert after.s < before.s


def test_a_zero_found_moved_brings_the_char_nearer_to_the_truth() -> None:
    recording = burn(drift_g_k=0.6, cell_rise_c=30.0)
    mass, truth = recording.channels["mass"], recording.truth
    # What the empty cell would show at the end is what it shows less what truly stands there.
    stands_g = 640.0 + float(truth.curves.fuel_g[-1])
    drift_g = float(np.nanmedian(mass.value[-50:])) - stands_g
    assert drift_g > 1.0
    told = f"zero_drift_g = {drift_g:.2f}\nu_zero_drift_g = 0.2\nzero_drift_s = 780"
    before, after = (results(recording, words, 10.0)["char_left"] for words in ("", told))
    true_g = truth.char_left_g
    assert true_g is not None
    assert abs(after.n - true_g) < abs(before.n - true_g)
    assert after.s < before.s
    assert abs(after.n - true_g) < 2.0 * after.s


def test_a_known_drift_with_the_cells_temperature_brings_the_char_nearer_to_the_truth() -> None:
    drift_g_k = 0.6
    recording = burn(drift_g_k=drift_g_k, cell_rise_c=30.0)
    known = replace(
        default_channel(Role.MASS), u_drift_per_hour=10.0, u_scale=0.005, warmth=Warmth(drift_g_k, 0.02, 0.5)
    )
    before, after = (results(recording, "", 10.0, cell)["char_left"] for cell in (replace(known, warmth=None), known))
    true_g = recording.truth.char_left_g
    assert true_g is not None
    assert abs(after.n - true_g) < 0.5 * abs(before.n - true_g)
    assert after.s < 0.5 * before.s
    assert abs(after.n - true_g) < 2.0 * after.s
