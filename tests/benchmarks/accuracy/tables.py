"""The tables of a run, for a terminal."""

from collections.abc import Sequence

from rich.console import Console
from rich.table import Table

from benchmarks.accuracy.bars import Bar, coverages
from benchmarks.accuracy.judging import BOIL_FORECAST, FLAMEOUT_FORECAST
from benchmarks.accuracy.plain import BOIL_METHODS, FLAMEOUT_METHODS
from benchmarks.accuracy.scoring import Figure, Outcome, Tally, figures, mean, percentile, tally

EVENTS = ("lit", "pot_on", "boil", "pot_off", "refuel", "flameout", "step")
PLACES = ("probe", "pot off", "pot boiling", "pot below boiling")
LEAST_U = 1e-9
RESULTS: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("time_to_boil", "s", ()),
    ("time_to_boil_from_lit", "s", ()),
    ("burn_time", "s", ()),
    ("fuel_burned", "g", ()),
    ("fuel_mass_lost", "g", ()),
    ("char_left", "g", ()),
    ("char_yield", "points", ()),
    ("water_evaporated", "g", ("lifted",)),
    ("water_evaporated", "g", ("never lifted", "weighed")),
    ("water_evaporated", "g", ("never lifted", "nothing weighed")),
    ("burning_rate_mean", "%", ()),
    ("burning_rate_mean", "%", ("never lifted", "nothing weighed")),
    ("firepower_mean", "%", ()),
    ("cooking_power", "%", ()),
    ("pot_window_efficiency", "points", ()),
    ("pot_window_efficiency", "points", ("lifted", "exact")),
    ("thermal_efficiency", "points", ()),
    ("thermal_efficiency_char_credit", "points", ()),
)


def print_events(console: Console, outcomes: Sequence[Outcome]) -> None:
    """Print how every kind of event fared."""
    table = _table("Events", "event", "true", "found", "missed", "invented", "median s", "p95 s", "bias s", "covered")
    for title in ("u median s", "delay s", "delay p95", "not live", "retracted"):
        table.add_column(title, justify="right")
    for kind in EVENTS:
        withdrawn = sum(one == kind for outcome in outcomes for one, _ in outcome.withdrawn)
        table.add_row(kind, *_event_cells(tally(outcomes, kind)), str(withdrawn))
        if kind == "flameout":
            for place in PLACES:
                some = tally(outcomes, kind, lambda where, place=place: where == place)  # type: ignore[misc]
                if some.true or some.invented:
                    table.add_row(f"  {place}", *_event_cells(some), "")
    console.print(table)


def _event_cells(some: Tally) -> list[str]:
    errors, delays = some.errors_s, some.delays_s
    return [
        str(some.true),
        str(len(some.pairs)),
        str(len(some.missed)),
        str(len(some.invented)),
        _number(percentile(errors, 50)),
        _number(percentile(errors, 95)),
        _number(mean(errors)),
        _share(mean(some.covered)),
        _number(percentile([pair.found.u_s for pair in some.pairs], 50)),
        _number(percentile(delays, 50), 0),
        _number(percentile(delays, 95), 0),
        str(len(some.pairs) - len(delays)),
    ]


def print_results(console: Console, outcomes: Sequence[Outcome]) -> None:
    """Print how every result, and every forecast, fared."""
    table = _table("Results", "result", "unit", "given", "absent", "median", "p95", "bias", "covered", "u median")
    for name, unit, traits in RESULTS:
        some = [figure for _, figure in figures(outcomes, name, *traits)]
        missing = sum(
            name in outcome.absent for outcome in outcomes if all(trait in outcome.traits for trait in traits)
        )
        table.add_row(f"{name} {', '.join(traits)}".strip(), unit, *_figure_cells(some, unit, missing))
    for name in (BOIL_FORECAST, FLAMEOUT_FORECAST):
        some = [figure for outcome in outcomes for figure in outcome.forecasts if figure.name == name]
        table.add_row(name, "s", *_figure_cells(some, "s", 0))
    console.print(table)


def _figure_cells(some: Sequence[Figure], unit: str, missing: int) -> list[str]:
    def scaled(value: float, figure: Figure) -> float:
        if unit == "%":
            return 100.0 * value / abs(figure.true) if figure.true else float("nan")
        return 100.0 * value if unit == "points" else value

    errors = [scaled(figure.error, figure) for figure in some]
    return [
        str(len(some)),
        str(missing),
        _number(percentile(errors, 50), 2),
        _number(percentile(errors, 95), 2),
        _number(mean(errors), 2),
        _share(mean([figure.covered for figure in some])),
        _number(percentile([scaled(figure.u, figure) for figure in some], 50), 2),
    ]


def print_rivals(console: Console, outcomes: Sequence[Outcome]) -> None:
    """Print how plain methods fare on the same burns, and how many times as large their errors are."""
    table = _table(
        "Plain methods", "event", "method", "true", "missed", "invented", "median s", "p95 s", "x median", "x p95"
    )
    for kind, methods in (("boil", BOIL_METHODS), ("flameout", FLAMEOUT_METHODS)):
        for method in methods:
            usable = [outcome for outcome in outcomes if method in outcome.rivals]
            plain = tally(usable, kind, found_of=lambda outcome, method=method: outcome.rivals[method])  # type: ignore[misc]
            own = tally(usable, kind)
            cells = [str(plain.true), str(len(plain.missed)), str(len(plain.invented))]
            errors = [(percentile(plain.errors_s, share), percentile(own.errors_s, share)) for share in (50, 95)]
            cells += [_number(error) for error, _ in errors]
            cells += [_number(_ratio(error, own_error)) for error, own_error in errors]
            table.add_row(kind, method, *cells)
    console.print(table)
    console.print("x: error of the plain method over that of Emberline on the same burns, each over what it found.")


def print_bars(console: Console, bars: Sequence[Bar]) -> None:
    """Print the bars."""
    table = Table(title="Bars", title_justify="left")
    for title in ("figure", "target", "reached", "met"):
        table.add_column(title, overflow="fold")
    words = {True: "yes", False: "[bold red]no[/]", None: "-"}
    for bar in bars:
        table.add_row(bar.figure, bar.target, bar.reached, words[bar.met])
    console.print(table)


def print_worst(console: Console, outcomes: Sequence[Outcome], count: int) -> None:
    """Print the worst cases of each kind, by the names of their burns."""
    if count <= 0:
        return
    console.print("Worst cases (make one again with --burn NAME)")
    for kind in EVENTS:
        some = tally(outcomes, kind)
        for burn, event in some.missed[:count]:
            console.print(f"  {kind:<9} missed    {burn}  at {event.t_s:.0f} s {event.where}", highlight=False)
        for burn, found in some.invented[:count]:
            console.print(f"  {kind:<9} invented  {burn}  at {found.t_s:.0f} s", highlight=False)
        for pair in sorted(some.pairs, key=lambda one: -abs(one.error_s))[:count]:
            said = f"off {pair.error_s:+.1f} s, u {pair.found.u_s:.1f}"
            console.print(f"  {kind:<9} {said:<22} {pair.burn}  at {pair.true.t_s:.0f} s", highlight=False)
    for name in dict.fromkeys(name for name, _, _ in RESULTS):
        known = [(burn, figure) for burn, figure in figures(outcomes, name) if not figure.covered]
        for burn, figure in sorted(known, key=lambda one: -abs(one[1].error) / max(one[1].u, LEAST_U))[:count]:
            said = f"{figure.value:.4g} ± {figure.u:.2g}, in truth {figure.true:.4g}"
            console.print(f"  {name:<31} {said:<38} {burn}", highlight=False)


def print_coverage(console: Console, outcomes: Sequence[Outcome]) -> None:
    """Print the coverage of every quantity in one line."""
    parts = [f"{name} {_share(mean(hits))} of {len(hits)}" for name, hits in coverages(outcomes).items() if hits]
    console.print("Coverage of 95 % intervals: " + ", ".join(parts), highlight=False)


def _table(title: str, *columns: str) -> Table:
    table = Table(title=title, title_justify="left")
    for index, column in enumerate(columns):
        table.add_column(column, justify="left" if index == 0 else "right", no_wrap=index == 0)
    return table


def _ratio(one: float, other: float) -> float:
    return one / other if other else float("nan")


def _number(value: float, digits: int = 1) -> str:
    return "" if value != value else f"{value:.{digits}f}"


def _share(value: float) -> str:
    return "" if value != value else f"{100 * value:.0f} %"
