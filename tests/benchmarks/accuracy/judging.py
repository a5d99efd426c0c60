"""One burn through Emberline, live and final, and through the plain methods."""

import math
from collections.abc import Iterator

import numpy as np

from benchmarks.accuracy.burns import Burn
from benchmarks.accuracy.plain import plain_events
from benchmarks.accuracy.scoring import Figure, Found, Outcome
from emberline.bench.channels import Role, default_channel
from emberline.bench.plan import Plan, parse_plan
from emberline.bench.samples import Curve, SampleBatch
from emberline.curves.events import Event, EventKind
from emberline.trials.analysis import Analysis, analyse
from emberline.trials.forecast import NoForecast
from emberline.trials.live import LiveTrial
from emberline.trials.tracker import Tracked

FORECAST_EVERY_S = 60
UNSEEN = ("volatile_heat_course",)
"""Inputs that no sensor of a bench tells of: how the heat of a gram goes along a burn, as published burns spread."""
BOIL_FORECAST, FLAMEOUT_FORECAST = "forecast of boil", "forecast of flameout"


def judge(burn: Burn, *, live: bool = True) -> Outcome:
    """Analyse a burn as an import does, and hold it against the truth.

    Args:
        burn: The burn.
        live: Whether to play it through second by second before; without it there are no announcements and forecasts.
    """
    plan = parse_plan(burn.plan)
    tracked, forecasts = _play(burn, plan) if live else (Tracked(), ())
    analysis = analyse(burn.curves, {}, plan, tracked=tracked)
    results, absent = _compared(burn, analysis)
    return Outcome(
        burn=str(burn.name),
        expected=burn.expected,
        found=tuple(_found(event) for event in analysis.events if event.kind is not EventKind.NOTE),
        withdrawn=tuple((back.kind.value, back.announced_t_s) for back in analysis.retracted),
        results=results,
        absent=absent,
        forecasts=tuple(forecasts),
        dips=burn.dips,
        dark=burn.dark,
        late_s=burn.late_s,
        traits=burn.traits,
        rivals=plain_events(analysis.grid, float(analysis.boiling_point.nominal_value)),
    )


def _found(event: Event) -> Found:
    size_g = None if event.size_g is None else float(event.size_g.nominal_value)
    return Found(event.kind.value, event.t_s, event.u_s, size_g, event.announced_t_s)


def _compared(burn: Burn, analysis: Analysis) -> tuple[tuple[Figure, ...], dict[str, str]]:
    values, absent = analysis.results.values, analysis.results.absent
    figures = [
        Figure(
            name,
            true,
            float(values[name].value.nominal_value),
            float(values[name].value.std_dev),
            math.hypot(*(values[name].budget.get(tag, 0.0) for tag in UNSEEN)),
        )
        for name, true in burn.results.items()
        if name in values
    ]
    return tuple(figures), {name: absent[name] for name in burn.results if name in absent}


def _play(burn: Burn, plan: Plan) -> tuple[Tracked, tuple[Figure, ...]]:
    """Play a burn through as it would have come in, and look at the forecasts every minute."""
    channels = {role: default_channel(role) for role in burn.curves}
    trial = LiveTrial(channels, plan, start_ns=0)
    forecasts: list[Figure] = []
    for now_s, batches in _commits(burn):
        trial.take(batches)
        forecasts += _forecasts(burn, trial, now_s)
    return trial.tracked, tuple(forecasts)


def _commits(burn: Burn) -> Iterator[tuple[float, list[SampleBatch]]]:
    """Yield the samples of each minute, as a device would have sent them."""
    end_s = max((float(curve.t_s[-1]) for curve in burn.curves.values()), default=0.0)
    borders = np.arange(0.0, end_s + FORECAST_EVERY_S, FORECAST_EVERY_S)
    for from_s, to_s in zip(borders, np.append(borders[1:], np.inf), strict=True):
        batches = [_batch(role, curve, from_s, to_s) for role, curve in burn.curves.items()]
        yield float(to_s), [batch for batch in batches if len(batch)]


def _batch(role: Role, curve: Curve, from_s: float, to_s: float) -> SampleBatch:
    low, high = np.searchsorted(curve.t_s, (from_s, to_s))
    t_ns = np.round(curve.t_s[low:high] * 1e9).astype(np.int64)
    value = curve.value[low:high]
    flags = np.where(np.isfinite(value), 0, 1).astype(np.uint8)
    return SampleBatch("bench", 1, role.value, int(low), t_ns, np.nan_to_num(value), flags)


def _forecasts(burn: Burn, trial: LiveTrial, now_s: float) -> Iterator[Figure]:
    """Yield the forecasts that stand now, beside what came.

    Nobody can forecast a hand: a boil after the pot was lifted, or a flameout after another refuel, is not compared.
    """
    boil, flameout = trial.estimates.boil, trial.estimates.flameout
    if not isinstance(boil, NoForecast):
        coming = [e for e in burn.expected if e.kind in ("boil", "pot_off") and e.t_s > now_s]
        if coming and coming[0].kind == "boil":
            yield Figure(BOIL_FORECAST, coming[0].t_s, boil.t_s, boil.u_s)
    if not isinstance(flameout, NoForecast):
        coming = [e for e in burn.expected if e.kind in ("refuel", "flameout") and e.t_s > now_s]
        if coming and coming[0].kind == "flameout" and not coming[0].optional:
            yield Figure(FLAMEOUT_FORECAST, coming[0].t_s, flameout.t_s, flameout.u_s)
