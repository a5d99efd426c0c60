"""Summaries in a terminal, or as plain lines where there is none."""

import io
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from math import nan
from typing import Any

import click
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text
from uncertainties import ufloat

from emberline.app import Document, Summary, started
from emberline.curves.events import EventKind
from emberline.reports.caution import CAUTION_LINE
from emberline.reports.figures import PLUS_MINUS_MEANS, SPACE, THIN_SPACE, clock, moment, plain
from emberline.reports.wording import EVENTS, HEADLINES, result_title
from emberline.store.records import Trial
from emberline.trials.documents import known_corrections

LISTED = ("time_to_boil", "burn_time", "firepower_mean", "thermal_efficiency")
"""Results in the list of trials."""

_PIPED_WIDTH = 120
"""Columns where the output goes into a file or another program."""
_NEVER_FOLDED = 10_000


def show_summary(summary: Summary) -> None:
    """Print a summary: events, main results, what is absent and why, notes, caution."""
    with printing() as out:
        _show_summary(summary, out)


def _show_summary(summary: Summary, out: Console) -> None:
    document = summary.document
    title = Text(f"Trial {summary.trial.id}", style="bold")
    if document["label"]:
        title.append(f"  {document['label']}")
    out.print(title)
    begun = started(summary.trial)
    out.print(Text(f"Began {begun}" if begun else "Times are relative: the record names no date."))
    out.print()
    _show_events(document, out)
    _show_results(document, out)
    if document.get("excluded"):
        out.print(Text(f"Excluded, does not count: {document['excluded']['why']} ({document['excluded']['who']})"))
    changes = known_corrections(document)
    if changes:
        out.print(Text(f"Corrected by a person, {changes} {'entry' if changes == 1 else 'entries'}: see the page."))
    for note in document["quality"]:
        out.print(Padding(Text(f"Note: {spaced(note['text'])}"), (0, 0, 0, 2)))
    out.print()
    out.print(Text(f"{PLUS_MINUS_MEANS}. All results: {summary.page}"))
    out.print(Text(CAUTION_LINE, style="bold yellow"))


def show_trials(trials: Sequence[tuple[Trial, Document | None]]) -> None:
    """Print a list of trials; to other programs, a line each."""
    with printing(piped_width=_NEVER_FOLDED) as out:
        if trials:
            out.print(_trials_table(trials))
        else:
            out.print("No trials yet: emberline import burn.csv makes one.")


def _trials_table(trials: Sequence[tuple[Trial, Document | None]]) -> Table:
    table = table_of("trial", "began", "label", *(result_title(name).lower() for name in LISTED))
    for trial, document in trials:
        results = document["results"] if document else {}
        numbers = [_result(results[name]) if name in results else "–" for name in LISTED]
        name = " ".join((trial.label or trial.source or "–", *_remarks(document)))
        table.add_row(*map(Text, (trial.id, started(trial) or "–", name, *numbers)))
    return table


def _remarks(document: Document | None) -> list[str]:
    """Return what a list says of a trial that a person changed."""
    if document is None:
        return []
    held = [entry for entry in document.get("corrections", ()) if entry["undone_by"] is None]
    changed = any(
        entry["do"] in ("add", "move", "delete", "plan") and entry.get("kind") != EventKind.NOTE for entry in held
    )
    excluded = document.get("excluded")
    return ["(corrected)"] * changed + ([f"(excluded: {excluded['why']})"] if excluded else [])


def _show_events(document: Document, out: Console) -> None:
    events = document["events"]
    lit = next((event["t_s"] for event in events if event["kind"] == EventKind.LIT.value), None)
    zero = lit or 0.0
    if not events:
        out.print(Text("No events were found."))
    else:
        table = table_of("event", "from the start" if lit is None else "from lit", "load", "announced live", "evidence")
        for event in events:
            name = EVENTS[EventKind(event["kind"])] + ("" if event["confirmed"] else " (unconfirmed)")
            size = "" if event["size_g"] is None else f"{event['size_g']:+.1f} g".replace("-", "−")
            live = "" if event["announced_t_s"] is None else clock(event["announced_t_s"] - zero)
            when = spaced(moment(event["t_s"] - zero, event["u_s"]))
            table.add_row(*map(Text, (name, when, size, live, spaced(event["evidence"]))))
        out.print(table)
    for gone in document["retracted"]:
        name, said, back = EVENTS[EventKind(gone["kind"])], gone["announced_t_s"] - zero, gone["retracted_t_s"] - zero
        text = f"A live run announces {name} at {clock(said)} and takes it back at {clock(back)}: {gone['why']}"
        out.print(Text(spaced(text)))
    out.print()


def _show_results(document: Document, out: Console) -> None:
    table = table_of("result", "value")
    for name in HEADLINES:
        if name in document["results"]:
            table.add_row(Text(result_title(name)), Text(_result(document["results"][name])))
        else:
            reason = document["absent"].get(name, "not worked out")
            table.add_row(Text(result_title(name), style="dim"), Text(f"absent: {spaced(reason)}", style="dim"))
    out.print(table)
    out.print()


def _result(result: Mapping[str, Any]) -> str:
    return spaced(plain(ufloat(result["value"], result["u"] or nan), result["unit"]))


def spaced(text: str) -> str:
    """Return text with common spaces, which a terminal can break and a search can find."""
    return text.replace(SPACE, " ").replace(THIN_SPACE, " ")


def table_of(*titles: str) -> Table:
    """Return an empty table without rules, its titles in bold."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    for title in titles:
        table.add_column(title, overflow="fold")
    return table


@contextmanager
def printing(piped_width: int = _PIPED_WIDTH) -> Iterator[Console]:
    """Give a console for standard output; what does not go to a terminal gets no colours and no blanks at line ends.

    Args:
        piped_width: Columns where it goes into a file or another program.
    """
    screen = Console(highlight=False, markup=False, emoji=False)
    if screen.is_terminal:
        yield screen
        return
    paper = Console(file=io.StringIO(), width=piped_width, highlight=False, markup=False, emoji=False)
    with paper.capture() as captured:
        yield paper
    for line in captured.get().splitlines():
        click.echo(line.rstrip())
