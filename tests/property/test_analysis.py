"""The analysis on samples in any order and portions, and on curves that no stove ever made."""

import hashlib
import json
import os
import subprocess
import sys
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from emberline.bench.channels import Role, default_channel
from emberline.bench.plan import Plan, empty_plan
from emberline.bench.samples import FLAG_FAULT, Curve, SampleBatch
from emberline.heat.results import RESULT_NAMES
from emberline.store.curves import curves_of
from emberline.trials.analysis import Analysis, analyse
from emberline.trials.documents import document_json, summary_document
from emberline.trials.tracker import Tracked
from stove_fixture import Stove

Array = NDArray[np.float64]

STOVE = Stove(n=760, flameout_s=600.0, pot_off_s=520.0, level_g_s=0.2, water_g=250.0, fuel_g=140.0)
START_NS = 1_764_072_000_000_000_000
CHANNELS = {role: default_channel(role) for role in Role}
SCHEMA: dict[str, Any] = json.loads((files("emberline.trials") / "summary.schema.json").read_text(encoding="utf-8"))


@cache
def samples() -> dict[Role, tuple[NDArray[np.int64], Array]]:
    """Times and values of every channel of a burn, faults among them."""
    found = {}
    for role, curve in STOVE.curves().items():
        t_ns = START_NS + np.round(curve.t_s * 1e9).astype(np.int64)
        value = curve.value.copy()
        value[100::97] = np.nan
        found[role] = (t_ns, value)
    return found


def curves_of_burn() -> dict[Role, Curve]:
    """The same burn, calibrated, in one piece."""
    return curves_of(in_portions([10**6], 0), CHANNELS, START_NS)


def in_portions(sizes: list[int], seed: int) -> list[SampleBatch]:
    """Cut all channels into batches of these sizes, over and over, and shuffle them."""
    batches = []
    for role, (t_ns, value) in samples().items():
        at, turn = 0, 0
        while at < len(t_ns):
            end = min(len(t_ns), at + sizes[turn % len(sizes)])
            raw, fault = value[at:end], ~np.isfinite(value[at:end])
            flags = np.where(fault, FLAG_FAULT, 0).astype(np.uint8)
            batches.append(SampleBatch("stove", 1, role.value, at, t_ns[at:end], np.where(fault, 0.0, raw), flags))
            at, turn = end, turn + 1
    order = np.random.default_rng(seed).permutation(len(batches))
    return [batches[i] for i in order]


def summary_of(batches: list[SampleBatch], tracked: Tracked | None) -> str:
    curves = curves_of(batches, CHANNELS, START_NS)
    return document_json(
        summary_document(analyse(curves, CHANNELS, STOVE.plan(), tracked=tracked, trial="one", bench="yard"))
    )


@cache
def in_order(*, live: bool) -> str:
    return summary_of(in_portions([10**6], 0), None if live else Tracked())


@settings(max_examples=12, deadline=None, derandomize=True)
@given(sizes=st.lists(st.integers(1, 400), min_size=1, max_size=5), seed=st.integers(0, 2**32 - 1))
def test_any_order_and_portions_give_the_same_bytes(sizes: list[int], seed: int) -> None:
    assert summary_of(in_portions(sizes, seed), Tracked()) == in_order(live=False)


def test_the_live_run_played_through_gives_the_same_bytes_too() -> None:
    text = in_order(live=True)
    assert summary_of(in_portions([37, 4, 250], 3), None) == text
    assert all(event["announced_t_s"] is not None for event in json.loads(text)["events"])


@settings(max_examples=8, deadline=None, derandomize=True)
@given(phase_s=st.floats(0.02, 0.98))
def test_the_phase_of_the_sampling_changes_nothing_that_matters(phase_s: float) -> None:
    shifted = {role: Curve(curve.t_s + phase_s, curve.value) for role, curve in curves_of_burn().items()}
    results = analyse(shifted, CHANNELS, STOVE.plan(), tracked=Tracked()).results.values
    usual = analyse(curves_of_burn(), CHANNELS, STOVE.plan(), tracked=Tracked()).results.values
    assert set(results) == set(usual)
    for name, result in results.items():
        moved = abs(result.value.nominal_value - usual[name].value.nominal_value)
        assert moved <= 0.7 * usual[name].value.std_dev, name


def test_another_process_gives_the_same_bytes() -> None:
    here = hashlib.sha256(in_order(live=False).encode()).hexdigest()
    script = (
        "import hashlib\n"
        "from property.test_analysis import in_order\n"
        "print(hashlib.sha256(in_order(live=False).encode()).hexdigest())"
    )
    tests = Path(__file__).parents[1]
    # Another order of sets and of everything that is hashed.
    changed = os.environ | {"PYTHONHASHSEED": "1", "PYTHONPATH": os.pathsep.join([str(tests), *sys.path])}
    run = subprocess.run([sys.executable, "-c", script], env=changed, capture_output=True, text=True, check=True)
    assert run.stdout.strip() == here


def test_the_burn_that_is_shuffled_has_something_to_say() -> None:
    summary = json.loads(in_order(live=False))
    assert [event["kind"] for event in summary["events"]] == ["lit", "pot_on", "boil", "pot_off", "flameout"]
    assert len(summary["results"]) > 10


@st.composite
def hostile_values(draw: st.DrawFn, n: int) -> Array:
    """Values of a channel on which something is wrong: silent, stuck, wandering, jumping, far off."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    level = draw(st.sampled_from([0.0, 18.0, 99.3, 640.0, -8388.608, 1e7]))
    t = np.arange(n, dtype=np.float64)
    match draw(st.sampled_from(["stuck", "ramp", "walk", "saw", "noise", "silent", "steps"])):
        case "stuck":
            values = np.full(n, level)
        case "ramp":
            values = level + draw(st.sampled_from([-2.0, -0.15, 0.3, 40.0])) * t
        case "walk":
            values = level + np.cumsum(rng.normal(0.0, draw(st.sampled_from([0.01, 1.0, 300.0])), n))
        case "saw":
            values = level + 5.0 * (t % draw(st.integers(2, 90)))
        case "noise":
            values = level + rng.normal(0.0, draw(st.sampled_from([1e-6, 3.0, 4000.0])), n)
        case "silent":
            values = np.full(n, np.nan)
        case _:
            values = level + np.repeat(rng.choice([0.0, 800.0, -500.0, 3.0], n // 20 + 1), 20)[:n]
    for _ in range(draw(st.integers(0, 3))):
        at, long = draw(st.integers(0, n)), draw(st.sampled_from([1, 3, 60]))
        values[at : at + long] = draw(st.sampled_from([np.nan, 8388.607, -8388.608, 1e12]))
    return values


@st.composite
def hostile_curves(draw: st.DrawFn) -> dict[Role, Curve]:
    """Curves of some channels of a bench, of any length and sampling."""
    roles = draw(st.lists(st.sampled_from(list(Role)), unique=True, max_size=4))
    curves = {}
    for role in roles:
        n = draw(st.sampled_from([0, 1, 2, 5, 40, 260]))
        start_s, step_s = draw(st.sampled_from([0.0, 0.05, 70.0])), draw(st.sampled_from([0.1, 1.0, 2.0, 17.0]))
        curves[role] = Curve(start_s + step_s * np.arange(n, dtype=np.float64), draw(hostile_values(n)))
    return curves


@settings(max_examples=60, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(curves=hostile_curves(), plan=st.sampled_from([empty_plan(), STOVE.plan()]))
def test_no_curve_makes_it_fail_and_what_cannot_be_told_has_its_reason(curves: dict[Role, Curve], plan: Plan) -> None:
    check(analyse(curves, CHANNELS, plan))


def check(analysis: Analysis) -> None:
    """Hold an analysis to what every one of them promises."""
    results = analysis.results
    assert set(results.values) | set(results.absent) == set(RESULT_NAMES)
    assert not set(results.values) & set(results.absent)
    assert all(len(reason) > 10 for reason in results.absent.values())
    for result in results.values.values():
        assert np.isfinite([result.value.nominal_value, result.value.std_dev]).all()
    for event in analysis.events:
        assert np.isfinite([event.t_s, event.u_s]).all()
        assert event.u_s >= 0.0
        assert event.evidence
    assert [event.t_s for event in analysis.events] == sorted(event.t_s for event in analysis.events)
    assert len(analysis.account.t_s) == len(analysis.account.phase) == analysis.grid.n
    # JSON knows no NaN and no infinity: writing the summary fails on either.
    jsonschema.validate(json.loads(document_json(summary_document(analysis))), SCHEMA)
