"""What the summary page says, piece by piece, before it is set in type."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from uncertainties import UFloat

from emberline.bench.channels import Role
from emberline.curves.events import Event
from emberline.heat.advice import Adviser
from emberline.heat.remedies import FIT_FLAME_PROBE
from emberline.heat.result import Result
from emberline.reports.figures import SPACE, Parts, clock, half_width, moment, parts, plain, spoken
from emberline.reports.timeline import zero_s
from emberline.reports.wording import (
    BESIDE,
    BUDGETED,
    EVENTS,
    HEADLINES,
    PHASES,
    RESULT_GROUPS,
    RESULTS,
    in_sentence,
    input_title,
    result_meaning,
    result_title,
)

if TYPE_CHECKING:
    from emberline.trials.analysis import Analysis

_LEAST_SHARE = 0.02
_MOST_INPUTS = 5


@dataclass(frozen=True, slots=True)
class Headline:
    """One large number; `parts` is None where it is absent, and `aside` then says why."""

    title: str
    parts: Parts | None
    aside: str


@dataclass(frozen=True, slots=True)
class EventRow:
    """One line of the events table."""

    number: int
    name: str
    time: str
    announced: str
    size: str
    evidence: str
    remark: str


@dataclass(frozen=True, slots=True)
class ResultRow:
    """One line of the results table."""

    title: str
    meaning: str
    value: str


@dataclass(frozen=True, slots=True)
class Share:
    """What one input brings: its own ± where it is one input, and its part of the result's variance in percent."""

    title: str
    half: str
    percent: int


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """Where one result's uncertainty comes from, and what would lessen it."""

    title: str
    value: str
    shares: tuple[Share, ...]
    advice: str


@dataclass(frozen=True, slots=True)
class VisitRow:
    """One stay of the pot."""

    pot_on: str
    boil: str
    pot_off: str
    evaporated: str
    efficiency: str
    known_by: str


@dataclass(frozen=True, slots=True)
class PhaseRow:
    """One phase of the burn."""

    name: str
    start: str
    duration: str
    lost: str
    rate: str
    firepower: str
    water: str


def headlines(analysis: "Analysis") -> list[Headline]:
    """Return the large numbers, absent ones with their reason."""
    results = analysis.results
    rows = []
    for name in HEADLINES:
        result = results.values.get(name)
        if result is None:
            rows.append(Headline(result_title(name), None, results.absent.get(name, "not worked out")))
            continue
        aside = spoken(result.value.nominal_value) if result.unit == "s" and result.value.nominal_value >= 60 else ""
        beside = results.values.get(BESIDE.get(name, ""))
        if beside is not None:
            aside = f"{result_title(BESIDE[name])} {plain(beside.value, beside.unit)}"
        rows.append(Headline(result_title(name), parts(result.value, result.unit), aside))
    return rows


def event_rows(analysis: "Analysis") -> list[EventRow]:
    """Return the events with times from lit, numbered as in the plot."""
    zero = zero_s(analysis)
    return [_event(number, event, zero) for number, event in enumerate(analysis.events, 1)]


def retractions(analysis: "Analysis") -> list[str]:
    """Return a sentence for each event that was announced live and taken back."""
    zero = zero_s(analysis)
    return [
        f"{EVENTS[gone.kind].capitalize()} was announced at {clock(gone.announced_t_s - zero)} and taken back at "
        f"{clock(gone.retracted_t_s - zero)}: {gone.why}"
        for gone in analysis.retracted
    ]


def result_groups(analysis: "Analysis") -> list[tuple[str, list[ResultRow]]]:
    """Return all results that could be worked out, by group; names unknown to `wording` come last."""
    values = analysis.results.values
    grouped = [(title, [name for name in group if name in values]) for title, group in RESULT_GROUPS.items()]
    grouped.append(("Other", sorted(set(values) - set(RESULTS))))
    return [(title, [_result(name, values[name]) for name in names]) for title, names in grouped if names]


def absent_rows(analysis: "Analysis") -> list[tuple[str, str]]:
    """Return what could not be worked out, as names and their reason; one row for each reason."""
    absent = analysis.results.absent
    names = [name for name in RESULTS if name in absent] + sorted(set(absent) - set(RESULTS))
    reasons: dict[str, list[str]] = {}
    for name in names:
        reasons.setdefault(absent[name], []).append(result_title(name).lower())
    return [(", ".join(held_back).capitalize(), reason) for reason, held_back in reasons.items()]


def quality_texts(analysis: "Analysis") -> list[str]:
    """Return the quality notes, the record's own first; those that only repeat an event's evidence are left out."""
    notes = (*analysis.quality, *analysis.results.quality)
    return list(dict.fromkeys(note.text for note in notes if not note.code.endswith("_unconfirmed")))


def budget_rows(analysis: "Analysis") -> list[BudgetRow]:
    """Return the budgets of the main results, largest share first, small ones summed up."""
    rows = []
    adviser = Adviser(
        analysis.account,
        analysis.events,
        analysis.plan,
        analysis.boiling_point,
        analysis.results.values,
        (FIT_FLAME_PROBE,) if Role.FLAME in analysis.grid.columns else (),
    )
    for name in BUDGETED:
        result = analysis.results.values.get(name)
        if result is None or not result.budget:
            continue
        advice = adviser.sentence(name, in_sentence(name))
        rows.append(BudgetRow(result_title(name), plain(result.value, result.unit), _shares(result), advice))
    return rows


def visit_rows(analysis: "Analysis") -> list[VisitRow]:
    """Return the stays of the pot with times from lit."""
    zero = zero_s(analysis)
    rows = []
    for visit in analysis.results.visits:
        water, under = visit.water_evaporated, visit.pot_window_efficiency
        rows.append(
            VisitRow(
                clock(visit.pot_on_s - zero),
                "did not boil" if visit.boil_s is None else clock(visit.boil_s - zero),
                "stayed on" if visit.pot_off_s is None else clock(visit.pot_off_s - zero),
                "not known" if water is None else plain(water.value, water.unit),
                "not known" if under is None else plain(under.value, under.unit),
                visit.known_by,
            )
        )
    return rows


def phase_rows(analysis: "Analysis") -> list[PhaseRow]:
    """Return the phases with times from lit; a dash where a figure is not known or does not apply.

    Units stand in the table's head: with them in every cell it would be wider than its column.
    """
    zero = zero_s(analysis)
    return [
        PhaseRow(
            PHASES[phase.phase],
            clock(phase.start_s - zero),
            _or_dash(phase.duration),
            _or_dash(phase.fuel_mass_lost),
            _or_dash(phase.burning_rate_mean),
            _or_dash(phase.firepower_mean),
            _or_dash(phase.water_evaporated),
        )
        for phase in analysis.results.phases
    ]


def described(analysis: "Analysis") -> str:
    """Return what the plot shows, for readers who cannot see it."""
    zero = zero_s(analysis)
    named = ", ".join(f"{EVENTS[event.kind]} at {clock(event.t_s - zero)}" for event in analysis.events)
    lost = analysis.results.values.get("fuel_mass_lost")
    rate = analysis.results.values.get("burning_rate_mean")
    sentences = [
        "Curves over time, one above the other: temperatures, load cell, fuel and water told apart, burning rate.",
        f"Events: {named}." if named else "No event was found.",
    ]
    if lost is not None:
        sentences.append(f"Fuel mass lost {plain(lost.value, lost.unit)}.")
    if rate is not None:
        sentences.append(f"Mean burning rate {plain(rate.value, rate.unit)}.")
    return " ".join(sentences)


def _or_dash(result: Result | None) -> str:
    return "–" if result is None else plain(result.value, result.unit).removesuffix(f"{SPACE}{result.unit}")


def _result(name: str, result: Result) -> ResultRow:
    return ResultRow(result_title(name), result_meaning(name), plain(result.value, result.unit))


def _shares(result: Result) -> tuple[Share, ...]:
    variance = float(result.value.std_dev) ** 2
    by_title: dict[str, float] = {}
    for tag, part in result.budget.items():
        title = input_title(tag)
        by_title[title] = by_title.get(title, 0.0) + part**2
    ordered = sorted(by_title.items(), key=lambda item: (-item[1], item[0]))
    shown = [(title, part) for title, part in ordered[:_MOST_INPUTS] if part >= _LEAST_SHARE * variance]
    rest = max(variance - sum(part for _, part in shown), 0.0)
    if rest >= 0.005 * variance:
        shown.append(("all else", rest))
    return tuple(
        Share(title, half_width(part**0.5, result.unit), round(100 * part / variance)) for title, part in shown
    )


def _event(number: int, event: Event, zero: float) -> EventRow:
    if event.by_person:
        announced = "set by a person"
    elif event.announced_t_s is None:
        announced = "afterwards only"
    else:
        announced = clock(event.announced_t_s - zero)
    size = "" if event.size_g is None else _signed(event.size_g)
    remark = "" if event.confirmed else "unconfirmed"
    return EventRow(
        number, EVENTS[event.kind], moment(event.t_s - zero, event.u_s), announced, size, event.evidence, remark
    )


def _signed(size_g: UFloat) -> str:
    text = plain(size_g, "g")
    return text if size_g.nominal_value < 0 else f"+{text}"
