"""A stored trial in words that several pages need: when it began, and its entry in a list."""

import json
from datetime import datetime, tzinfo
from typing import Any

from emberline.bench.errors import PlanError
from emberline.bench.plan import Plan, empty_plan, parse_plan
from emberline.reports.catalogue import Entry, Figure
from emberline.store.reader import StoreReader
from emberline.store.records import Trial
from emberline.store.trials import zone_named
from emberline.web.trial_files import folder_of, read_listing


def local_time(t_ns: int, zone: tzinfo) -> str:
    """Write a moment in a time zone, with its offset from UTC."""
    moment = datetime.fromtimestamp(t_ns // 1_000_000_000, zone)
    offset = f"{moment:%z}"
    return f"{moment:%Y-%m-%d %H:%M} {offset[:3]}:{offset[3:]}"


def began(trial: Trial) -> str:
    """Return when a trial began; empty where only times within it are known."""
    return "" if trial.relative else local_time(trial.start_ns, zone_named(trial.zone))


def entries_of(store: StoreReader) -> list[Entry]:
    """Return all trials of a store as a list shows them."""
    listings, corrections = store.listings(), store.correction_counts()
    for trial in (trials := store.trials()):
        if trial.end_ns is None and (provisional := read_listing(folder_of(store.path, trial.id))):
            listings[trial.id] = provisional
    return [_entry(trial, listings.get(trial.id), corrections.get(trial.id, 0)) for trial in trials]


def _entry(trial: Trial, listing: str | None, corrections: int) -> Entry:
    running = trial.end_ns is None
    if not listing:
        # No summary yet, or one of an earlier version: what the plan says must do.
        plan = _plan(trial)
        return Entry(
            id=trial.id,
            bench=trial.bench,
            name=trial.label or plan.label or trial.source or "",
            began=began(trial),
            began_ns=trial.start_ns,
            running=running,
            behind=listing is None,
            factors=dict(plan.factors),
        )
    told: dict[str, Any] = json.loads(listing)
    return Entry(
        id=trial.id,
        bench=trial.bench,
        name=told["label"] or trial.source or "",
        began=began(trial),
        began_ns=trial.start_ns,
        running=running,
        behind=told["corrections"] != corrections,
        provisional=running,
        factors=told["factors"],
        notes=told["notes"],
        results={
            name: Figure(value, u, unit) for name, (value, u, unit) in told["results"].items() if value is not None
        },
        spark=told["spark"],
        excluded=told["excluded"],
        corrected=told["corrected"],
        unconfirmed_boil=told["unconfirmed_boil"],
        failed=told["absent"].get("burn_time"),
    )


def _plan(trial: Trial) -> Plan:
    try:
        return parse_plan(trial.plan_text)
    except PlanError:
        return empty_plan()
