"""A store with a short series of burns, whose summaries are made up: what comparisons are tried on."""

import json
from collections.abc import Mapping
from typing import Any

from emberline import __version__
from emberline.store.store import Store

HOUR_NS = 3_600 * 10**9
RESULTS: Mapping[str, tuple[str, Mapping[str, tuple[float, float, float]]]] = {
    "time_to_boil": ("s", {"8": (402.0, 411.0, 395.0), "12": (361.0, 370.0, 352.0)}),
    "thermal_efficiency": ("", {"8": (0.20, 0.21, 0.19), "12": (0.20, 0.21, 0.20)}),
}
"""Unit, and figures by number of holes."""


def fill(store: Store, *, series: str | None = None) -> list[str]:
    """Enter seven trials that take turns, the last one excluded; return their ids.

    Args:
        store: The store.
        series: The planned series whose runs they are.
    """
    ids = []
    for index in range(7):
        holes, run = ("8", "12")[index % 2], "" if series is None else f'series = "{series}"\nrun = {index + 1}\n'
        trial = store.create_trial(
            bench="yard",
            start_ns=1_764_072_000 * 10**9 + index * HOUR_NS,
            zone="Europe/Vienna",
            plan_text=f'{run}factors = {{ holes = "{holes}" }}\n',
        )
        store.end_trial(trial.id, trial.start_ns + HOUR_NS // 2)
        excluded = "rain" if index == 6 else None
        told = summary(trial.id, holes, index // 2, excluded)
        store.save_summary(trial.id, json.dumps(told), __version__, json.dumps(listing(told)))
        ids.append(trial.id)
    return ids


def summary(trial: str, holes: str, index: int, excluded: str | None) -> dict[str, Any]:
    """Return as much of a summary as comparisons look at."""
    results = {
        name: {"value": groups[holes][index % 3], "u": 1.0, "unit": unit, "budget": {}}
        for name, (unit, groups) in RESULTS.items()
    }
    return {
        "trial": trial,
        "label": None,
        "factors": {"holes": holes},
        "events": [{"kind": "lit", "t_s": 60.0}, {"kind": "pot_on", "t_s": 90.0}],
        "results": results,
        "absent": {"burn_time": "no flameout"},
        "conditions": {
            "air_c": 12.0,
            "pressure_pa": None,
            "load_wavering_g": 0.2,
            "water_rise_k": 84.0,
            "co_mean_ppm": None,
            "co_highest_ppm": None,
        },
        "excluded": None if excluded is None else {"why": excluded, "who": "me", "made": "2026-11-28T12:00:00Z"},
    }


def listing(told: Mapping[str, Any]) -> dict[str, Any]:
    """Return what a list of trials shows of a made-up summary."""
    excluded = told["excluded"]
    return {
        "label": told["label"],
        "factors": told["factors"],
        "notes": [],
        "results": {},
        "spark": [],
        "excluded": None if excluded is None else excluded["why"],
        "corrected": False,
        "corrections": 0,
        "unconfirmed_boil": False,
        "absent": {},
    }
