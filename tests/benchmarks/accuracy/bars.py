"""The bars that accuracy is held to: figure, target, what was reached, and whether that is met."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from benchmarks.accuracy.pace import Pace
from benchmarks.accuracy.published import MACFP, NIST, NITROGEN, SlabOutcome
from benchmarks.accuracy.scoring import (
    Figure,
    Outcome,
    Tally,
    figures,
    in_dips,
    likely,
    lit_again,
    mean,
    percentile,
    refuel_excess_g,
    tally,
)

LEAST_FOR_COVERAGE = 20
"""Fewer cases say nothing of a coverage."""
COVERAGE = (0.92, 0.98)


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar; `met` is None where the run held nothing to judge by."""

    figure: str
    target: str
    reached: str
    met: bool | None


def bars(outcomes: Sequence[Outcome], slabs: Sequence[SlabOutcome], pace: Pace | None) -> list[Bar]:
    """Return all bars."""
    live = any(found.announced_s is not None for outcome in outcomes for found in outcome.found)
    found: list[Bar] = []
    if outcomes:
        found += [*_boil(outcomes), *_flameout(outcomes)]
        found += _live(outcomes) if live else []
        found += [*_loads(outcomes), *_sums(outcomes), *_coverage(outcomes)]
    found += _published(slabs) if slabs else []
    if pace is not None:
        reached = f"{pace.analysis_ms:.0f} ms (ruptures on the same curves {pace.plain_ms:.0f} ms)"
        found.append(Bar("final analysis, 1 h, 10 Hz, 4 channels", "150 ms", reached, pace.analysis_ms <= 150.0))
    return found


def _errors(figure: str, errors: Sequence[float], median: float, p95: float, unit: str = "s") -> Bar:
    if not errors:
        return Bar(figure, f"{median:g} / {p95:g} {unit}", "no case", None)
    got = percentile(errors, 50), percentile(errors, 95)
    reached = f"{got[0]:.1f} / {got[1]:.1f} {unit}  ({len(errors)} cases)"
    return Bar(figure, f"{median:g} / {p95:g} {unit}", reached, got[0] <= median and got[1] <= p95)


def _most(figure: str, errors: Sequence[float], share: float, most: float, unit: str) -> Bar:
    target = f"{most:g} {unit}"
    if not errors:
        return Bar(figure, target, "no case", None)
    got = percentile(errors, share)
    return Bar(figure, target, f"{got:.2f} {unit}  ({len(errors)} cases)", got <= most)


def _none(figure: str, wrong: int, of: int, what: str) -> Bar:
    return Bar(figure, f"0 of {of} {what}", f"{wrong}", wrong == 0 if of else None)


def _boil(outcomes: Sequence[Outcome]) -> Iterator[Bar]:
    boil = tally(outcomes, "boil")
    yield _none("boil: missed + invented", len(boil.missed) + len(boil.invented), boil.true, "boils")
    yield _errors("boil: median / 95th percentile error", boil.errors_s, 1.5, 5.0)


def _flameout(outcomes: Sequence[Outcome]) -> Iterator[Bar]:
    def of(where: Callable[[str], bool]) -> Tally:
        return tally(outcomes, "flameout", where)

    out = of(lambda _: True)
    yield _none("flameout: missed + invented", len(out.missed) + len(out.invented), out.true, "flameouts")
    yield _errors("flameout with flame probe", of(lambda where: where == "probe").errors_s, 5.0, 15.0)
    yield _errors("flameout without, pot off", of(lambda where: where == "pot off").errors_s, 10.0, 30.0)
    yield _errors("flameout without, pot on, boiling", of(lambda where: where == "pot boiling").errors_s, 15.0, 45.0)


def _live(outcomes: Sequence[Outcome]) -> Iterator[Bar]:
    refuelled = sum(len(outcome.dips) for outcome in outcomes)
    yield _none("flameouts announced in a refuel dip", len(list(in_dips(outcomes))), refuelled, "dips")
    withdrawn = [outcome for outcome in outcomes if outcome.withdrawn]
    taken_back, again = len(withdrawn), sum(map(lit_again, withdrawn))
    yield Bar(
        "burns with a live retraction",
        "under 1 in 50",
        f"{taken_back} of {len(outcomes)}" + (f"; {again} of them true ends of fires lit again" if again else ""),
        taken_back < len(outcomes) / 50.0 if outcomes else None,
    )
    for kind, most_s in (("boil", 12.0), ("flameout", 45.0)):
        yield _most(f"announcement delay, median: {kind}", tally(outcomes, kind).delays_s, 50, most_s, "s")


def _loads(outcomes: Sequence[Outcome]) -> Iterator[Bar]:
    excess = [one for one in map(refuel_excess_g, tally(outcomes, "refuel").pairs) if one is not None]
    over = sum(one > 0.0 for one in excess)
    reached = f"{over} of {len(excess)} beyond it"
    yield Bar(
        "refuel size error, 95th percentile", "2 g + 3 %", reached, over <= 0.05 * len(excess) if excess else None
    )


def _sums(outcomes: Sequence[Outcome]) -> Iterator[Bar]:
    lifted = _plain_errors(figures(outcomes, "water_evaporated", "lifted"))
    yield _most("water evaporated, pot lifted, p95", lifted, 95, 4.0, "g")
    kept = figures(outcomes, "water_evaporated", "never lifted", "nothing weighed")
    beyond = sum(abs(figure.error) > max(20.0, 0.15 * figure.true) for _, figure in kept)
    yield Bar(
        "water evaporated, never lifted, nothing weighed, p95",
        "larger of 15 % and 20 g",
        f"{beyond} of {len(kept)} beyond it",
        beyond <= 0.05 * len(kept) if kept else None,
    )
    rate = [100.0 * f.error / f.true for _, f in figures(outcomes, "burning_rate_mean")]
    yield _most("mean burning rate, p95", rate, 95, 3.0, "%")
    window = [f for _, f in figures(outcomes, "pot_window_efficiency", "lifted", "exact")]
    bar = _most("pot window efficiency, lifted, exact plan, p95", [100.0 * f.error for f in window], 95, 1.5, "points")
    unseen = likely([100.0 * f.u_unseen for f in window], 95)
    floor = f"; {unseen:.1f} by the heat along a burn alone, as published burns spread" if window else ""
    yield replace(bar, reached=bar.reached + floor)


def _plain_errors(found: Sequence[tuple[str, Figure]]) -> list[float]:
    return [figure.error for _, figure in found]


def coverages(outcomes: Sequence[Outcome]) -> dict[str, list[bool]]:
    """Return, for every quantity that is reported with an interval, whether each interval holds the truth."""
    covered = {
        kind: tally(outcomes, kind).covered for kind in ("lit", "pot_on", "boil", "pot_off", "refuel", "flameout")
    }
    for outcome in outcomes:
        for figure in (*outcome.results, *outcome.forecasts):
            covered.setdefault(figure.name, []).append(figure.covered)
    return covered


def _coverage(outcomes: Sequence[Outcome]) -> Iterator[Bar]:
    judged = {name: mean(hits) for name, hits in coverages(outcomes).items() if len(hits) >= LEAST_FOR_COVERAGE}
    outside = {name: share for name, share in judged.items() if not COVERAGE[0] <= share <= COVERAGE[1]}
    told = ", ".join(f"{name} {100 * share:.0f} %" for name, share in sorted(outside.items(), key=lambda one: one[1]))
    reached = f"{len(judged) - len(outside)} of {len(judged)}" + (f"; outside: {told}" if told else "")
    yield Bar("95 % intervals: coverage of every quantity", "92-98 %", reached, not outside if judged else None)


def _published(slabs: Sequence[SlabOutcome]) -> Iterator[Bar]:
    for folder, title, most_s in ((NIST, "NIST", 25.0), (MACFP, "MaCFP", 50.0)):
        own = [one for one in slabs if one.slab.folder == folder]
        found = [one.announced for one in own if one.announced is not None]
        figure = f"cone data, wood, {title}: live, median error"
        bar = _most(figure, [one.error for one in found], 50, most_s, "s")
        yield Bar(bar.figure, bar.target, f"{bar.reached}, {len(own) - len(found)} not announced", bar.met)
        cuts = [one for outcome in own for one in outcome.cut.values() if one is not None]
        yield _most(
            f"cone data, wood, {title}: cut records, median error", [one.error for one in cuts], 50, most_s, "s"
        )
        for what, some in (("live", found), ("cut records", cuts)):
            share = mean([one.covered for one in some])
            yield Bar(
                f"cone data, wood, {title}: {what}, coverage",
                "at least 90 %",
                f"{100 * share:.0f} %" if some else "no case",
                share >= 0.9 if some else None,
            )
    nitrogen = [one for one in slabs if one.slab.folder == NITROGEN]
    stated = sum(one.stated for one in nitrogen)
    yield _none("nitrogen: end of flame stated as seen", sum(one.unworded for one in nitrogen), stated, "statements")
