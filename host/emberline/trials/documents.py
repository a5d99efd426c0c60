"""The JSON documents that go out about a trial.

`summary.schema.json` beside this module (JSON Schema 2020-12) describes the summary; outside programs rely on it.
"""

import json
import math
from collections.abc import Mapping
from dataclasses import asdict
from typing import Any, Protocol

from emberline import __version__
from emberline.bench.plan import Plan
from emberline.curves.events import Event, Retraction
from emberline.heat.phases import PhaseResult
from emberline.heat.result import QualityNote, Result
from emberline.heat.results import Results, VisitResult
from emberline.trials.alarms.alarm import PastAlarm
from emberline.trials.calibrating.used import UsedCalibration
from emberline.trials.conditions import Conditions
from emberline.trials.correction_documents import correction_documents, exclusion_document
from emberline.trials.corrections import Log, set_by

SUMMARY_SCHEMA = "emberline.summary/1"
"""Name and version of the summary's schema."""

_DIGITS = 10
"""Significant digits of a number: far below any uncertainty, and above what differs between machines."""


class Analysed(Protocol):
    """What a summary is made of; `emberline.trials.analysis.Analysis` is one."""

    @property
    def trial(self) -> str:
        """Id of the trial."""

    @property
    def bench(self) -> str:
        """Id of its bench."""

    @property
    def plan(self) -> Plan:
        """What a person said about it."""

    @property
    def events(self) -> tuple[Event, ...]:
        """Events of the final pass."""

    @property
    def retracted(self) -> tuple[Retraction, ...]:
        """What a live run took back."""

    @property
    def results(self) -> Results:
        """Results of the burn."""

    @property
    def quality(self) -> tuple[QualityNote, ...]:
        """What a reader should know."""

    @property
    def conditions(self) -> Conditions:
        """Under what it was burnt."""

    @property
    def log(self) -> Log:
        """What a person changed."""

    @property
    def calibrations(self) -> tuple[UsedCalibration, ...]:
        """Which of a person's calibrations the record was read with."""

    @property
    def alarms(self) -> tuple[PastAlarm, ...]:
        """Alarms that were raised while it ran."""


def summary_document(analysis: Analysed) -> dict[str, Any]:
    """Return the summary of a trial as plain JSON values.

    Times are seconds from the trial's first sample. What is not known is null or has its reason under `absent`;
    numbers are finite. The same analysis gives the same document.
    """
    notes = dict.fromkeys((*analysis.quality, *analysis.results.quality))
    return {
        "schema": SUMMARY_SCHEMA,
        "trial": analysis.trial,
        "bench": analysis.bench,
        "label": analysis.plan.label,
        "factors": {name: analysis.plan.factors[name] for name in sorted(analysis.plan.factors)},
        "software": {"version": __version__},
        "conditions": {name: _number(value) for name, value in asdict(analysis.conditions).items()},
        "excluded": exclusion_document(analysis.log),
        "events": [_event(event, analysis.log) for event in analysis.events],
        "retracted": [_retraction(retraction) for retraction in analysis.retracted],
        "results": {name: _result(result) for name, result in analysis.results.values.items()},
        "visits": [_visit(visit) for visit in analysis.results.visits],
        "phases": [_phase(phase) for phase in analysis.results.phases],
        "absent": dict(analysis.results.absent),
        "quality": [{"code": note.code, "text": note.text} for note in notes],
        "alarms": [_alarm(alarm) for alarm in analysis.alarms],
        "calibrations": [asdict(one) for one in analysis.calibrations],
        "corrections": correction_documents(analysis.log),
    }


def known_corrections(document: Mapping[str, Any]) -> int:
    """Return how many corrections there were when a summary was worked out, also one of an earlier version."""
    return len(document.get("corrections", ()))


def document_json(document: Mapping[str, object]) -> str:
    """Write a document in its own order, indented, with a newline at the end; the same bytes for the same document.

    Raises:
        ValueError: where a number is not finite, which JSON cannot say.
    """
    return json.dumps(document, ensure_ascii=False, allow_nan=False, indent=2) + "\n"


def _event(event: Event, log: Log) -> dict[str, Any]:
    return {
        "kind": event.kind.value,
        "t_s": _number(event.t_s),
        "u_s": _number(event.u_s),
        "announced_t_s": _number(event.announced_t_s),
        "evidence": event.evidence,
        "size_g": None if event.size_g is None else _number(event.size_g.nominal_value),
        "confirmed": event.confirmed,
        "by_person": event.by_person,
        "correction": set_by(log, event),
    }


def _retraction(retraction: Retraction) -> dict[str, Any]:
    return {
        "kind": retraction.kind.value,
        "announced_t_s": _number(retraction.announced_t_s),
        "retracted_t_s": _number(retraction.retracted_t_s),
        "why": retraction.why,
    }


def _alarm(alarm: PastAlarm) -> dict[str, Any]:
    times = ("t_s", "cleared_t_s", "acknowledged_t_s")
    return {key: _number(value) if key in times else value for key, value in asdict(alarm).items()}


def _result(result: Result) -> dict[str, Any]:
    return {
        "value": _number(result.value.nominal_value),
        "u": _number(result.value.std_dev),
        "unit": result.unit,
        "interval_95": [_number(end) for end in result.interval_95],
        "budget": {tag: _number(contribution) for tag, contribution in result.budget.items()},
    }


def _visit(visit: VisitResult) -> dict[str, Any]:
    return {
        "pot_on_s": _number(visit.pot_on_s),
        "boil_s": _number(visit.boil_s),
        "pot_off_s": _number(visit.pot_off_s),
        "water_evaporated": _result_or_null(visit.water_evaporated),
        "pot_window_efficiency": _result_or_null(visit.pot_window_efficiency),
    }


def _phase(phase: PhaseResult) -> dict[str, Any]:
    return {
        "phase": phase.phase.value,
        "start_s": _number(phase.start_s),
        "end_s": _number(phase.end_s),
        "duration": _result(phase.duration),
        "fuel_mass_lost": _result_or_null(phase.fuel_mass_lost),
        "burning_rate_mean": _result_or_null(phase.burning_rate_mean),
        "firepower_mean": _result_or_null(phase.firepower_mean),
        "water_evaporated": _result_or_null(phase.water_evaporated),
    }


def _result_or_null(result: Result | None) -> dict[str, Any] | None:
    return None if result is None else _result(result)


def _number(value: float | None) -> float | None:
    """Return a number as it is written: ten significant digits; None where it is not known."""
    if value is None or not math.isfinite(value):
        return None
    return float(f"{value:.{_DIGITS}g}")
