"""A running bench in a terminal: a panel that is drawn over and over, or plain lines where there is no terminal.

Both are made from the documents that a daemon sends, one `live` document after the other with announcements between.
"""

from collections.abc import Mapping
from typing import Any

import click
from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.table import Table
from rich.text import Text

from emberline.cli.alarm_lines import alarm_lines, alarm_table, told_again
from emberline.cli.streams import can_draw
from emberline.curves.events import EventKind, Phase
from emberline.heat.result import COVERAGE_95
from emberline.reports.caution import CAUTION_LINE
from emberline.reports.figures import clock, spoken
from emberline.reports.wording import EVENTS
from emberline.trials.live_document import HOT_CHAR, Recording

PLAIN_EVERY_S = 30.0
"""Time of the trial between two plain lines."""
DRAWN_PER_S = 8
EVENTS_SHOWN = 9
LAG_S = 10.0
"""Lag of the search for events behind the readings from which on it is shown."""
BAR_WIDTH = 40
_VALUES = (("water", "water"), ("flame", "flame"), ("mass", "mass"), ("pot_mass", "pot"), ("ambient", "air"))
_UNITS = {"c": "°C", "g": "g", "pa": "Pa", "ppm": "ppm"}
_DECIMALS = {"c": 1, "g": 1, "pa": 0, "ppm": 0}
_PHASES = {
    Phase.WAITING: "waiting for fire",
    Phase.KINDLING: "kindling",
    Phase.FLAMING: "flaming",
    Phase.CHAR: "glowing char",
    Phase.ENDED: "ended",
}
_COLOURS = {Recording.RECORDING: "green", Recording.WITH_GAPS: "yellow", Recording.NOT_RECORDING: "bold red"}
_MARKS = {Recording.RECORDING: "●", Recording.WITH_GAPS: "◐", Recording.NOT_RECORDING: "○"}

Document = Mapping[str, Any]


class Readout:
    """Shows a bench until closed; use it as a context manager."""

    def __init__(self, console: Console | None = None) -> None:
        """Write to a console, by default standard output."""
        self._console = console or Console(highlight=False, markup=False, emoji=False)
        self._live: Live | None = None
        self._document: Document | None = None
        self._events: list[Document] = []
        self._next_line_s = 0.0
        self._said_caution = False

    def __enter__(self) -> "Readout":
        if can_draw(self._console):
            self._live = Live(console=self._console, refresh_per_second=DRAWN_PER_S, get_renderable=self._panel)
            self._live.start()
        else:
            self._line(CAUTION_LINE)
        return self

    def __exit__(self, *_: object) -> None:
        if self._live is not None:
            self._live.stop()

    def show(self, message: Document) -> None:
        """Take in one message of a daemon: `live` or `event`."""
        if "event" in message:
            self._take_event(message["event"])
        elif "live" in message:
            self._take_live(message["live"])

    def _take_event(self, event: Document) -> None:
        if self._events and event.get("trial") != self._events[-1].get("trial"):
            self._events.clear()
        self._events.append(event)
        if self._live is None:
            for line in event_lines(event):
                self._line(line)

    def _take_live(self, document: Document) -> None:
        before = self._document
        self._document = document
        if told_again(before, document):
            self._console.bell()
        if self._live is not None:
            return
        for line in alarm_lines(before, document):
            self._line(line)
        if before is None or before["recording"] != document["recording"] or before["trouble"] != document["trouble"]:
            self._line(state_line(document))
        t_s = document["t_s"]
        if t_s is None:
            self._next_line_s = 0.0
        elif t_s >= self._next_line_s:
            self._line(value_line(document))
            self._next_line_s = PLAIN_EVERY_S * (t_s // PLAIN_EVERY_S + 1.0)

    def _line(self, text: str) -> None:
        click.echo(text)

    def _panel(self) -> RenderableType:
        if self._document is None:
            return Text("connecting …", style="dim")
        return panel(self._document, self._events)


def state_line(document: Document) -> str:
    """Return whether readings are kept, in one line."""
    trouble = f"; {document['trouble']}" if document["trouble"] else ""
    return f"[{document['recording']}] {document['link']}{trouble}"


def value_line(document: Document) -> str:
    """Return readings, rate, phase and forecasts in one line."""
    values = [f"{name} {_number(document['values'][role])}" for role, name in _VALUES[:3] if role in document["values"]]
    parts = [f"{clock(document['t_s']):>6}", *values, f"burning {_rate(document)}", _phase(document)]
    parts += [f"{name} {text}" for name, text in _forecasts(document) if not text.startswith("–")]
    behind = _behind(document)
    return "  ".join([*parts, f"({behind})"] if behind else parts)


def event_lines(event: Document) -> list[str]:
    """Return an announcement in one line, or in two where something must be said with it."""
    kind = event["kind"]
    if kind == "summary":
        return [f"  >>   {_summary_words(event)}: {event['page']}"]
    name = EVENTS[EventKind(kind)]
    if event["retracted"]:
        return [f"  >>   {name} taken back: {event['why']}"]
    revised = " revised" if event["revised_t_s"] is not None else ""
    lines = [f"  >>   {_event_time(event)}  {name}{revised}{_event_size(event)}{_doubt(event)}: {event['evidence']}"]
    return [*lines, f"       {HOT_CHAR}"] if kind == EventKind.FLAMEOUT.value and not revised else lines


def panel(document: Document, events: list[Document]) -> RenderableType:
    """Return the panel that a terminal shows."""
    recording = Recording(document["recording"])
    head = Table.grid(expand=True)
    head.add_column()
    head.add_column(justify="right")
    trial = "no trial is open" if document["trial"] is None else f"trial {document['trial']}"
    label = f"  {document['label']}" if document["label"] else ""
    head.add_row(
        Text.assemble((f"bench {document['bench']}", "bold"), f"  {trial}{label}"),
        Text(f"{_MARKS[recording]} {recording.value}", style=_COLOURS[recording]),
    )
    parts: list[RenderableType] = [head, Text(_second_line(document), style="dim")]
    if document["trouble"]:
        parts.append(Text(document["trouble"], style="bold red"))
    if document["alarms"]:
        parts += [Text(), alarm_table(document)]
    parts += [Text(), _readings(document), Text(), _progress(document)]
    flame_out = Phase(document["phase"]) is Phase.CHAR
    parts += [Text(HOT_CHAR, style="bold red"), Text()] if flame_out else [Text()]
    shown = events[-EVENTS_SHOWN:]
    if shown:
        parts += [_event_table(shown), Text()]
    parts.append(Text(CAUTION_LINE, style="yellow"))
    return Group(*parts)


def _second_line(document: Document) -> str:
    where = "" if document["t_s"] is None else f"{clock(document['t_s'])} into the record  ·  "
    behind = _behind(document)
    where += f"{behind}  ·  " if behind else ""
    lost = f"  ·  {document['samples_lost']} samples lost" if document["samples_lost"] else ""
    return f"{where}{document['link']}{lost}"


def _behind(document: Document) -> str:
    """Say how far the search for events lags behind the readings; empty where it keeps up."""
    if document["t_s"] is None or document["followed_s"] is None:
        return ""
    lag_s = document["t_s"] - document["followed_s"]
    return f"events are looked for {spoken(lag_s)} behind the readings" if lag_s > LAG_S else ""


def _readings(document: Document) -> Table:
    table = Table.grid(padding=(0, 3, 0, 0))
    table.add_column(style="dim")
    table.add_column(justify="right")
    table.add_column()
    forecasts = dict(_forecasts(document))
    for role, name in _VALUES:
        value = document["values"].get(role)
        if value is None:
            continue
        stale = value["stale"] or value["value"] is None
        aside = f"{value['age_s']:.0f} s old" if value["stale"] else ""
        if role == "water" and not aside:
            aside = f"boil {forecasts['boil']}"
        table.add_row(name, Text(_number(value), style="dim" if stale else "bold"), Text(aside))
    old, style = _scale_age(document), "dim" if _scale_age(document) else "bold"
    left = document["water_left_g"]
    if left is not None:
        words = f"{left['value']:.0f} ± {COVERAGE_95 * left['u']:.0f} g".replace("-", "−")
        table.add_row("water left", Text(words, style=style), Text(old))
    aside = "; ".join(filter(None, (old, f"flameout {forecasts['flameout']}")))
    table.add_row("burning", Text(_rate(document), style=style), Text(aside))
    return table


def _progress(document: Document) -> RenderableType:
    share = document["progress"]
    row = Table.grid(padding=(0, 3, 0, 0))
    row.add_column(style="dim", width=16)
    row.add_column()
    row.add_column(justify="right")
    name = _phase(document)
    if document["known_until_s"] is not None:
        return Text(f"phase {name}", style="dim")
    if share is None:
        row.add_row(name, Text("–"), Text())
    else:
        burnt = round(BAR_WIDTH * share)
        bar = Text("▓" * burnt, style="dark_orange3") + Text("░" * (BAR_WIDTH - burnt), style="dim")
        row.add_row(name, bar, Text(f"{100.0 * share:.0f} %"))
    return row


def _phase(document: Document) -> str:
    """Say what the phase is, or until when it was what it was."""
    name, until_s = _PHASES[Phase(document["phase"])], document["known_until_s"]
    return name if until_s is None else f"not known ({name} until {clock(until_s)}, when the readings stopped)"


def _scale_age(document: Document) -> str:
    """Say how old is what was made of the scale's readings; empty where they come."""
    scale = document["values"].get("mass") or document["values"].get("pot_mass")
    return f"{scale['age_s']:.0f} s old" if scale and scale["stale"] else ""


def _event_table(events: list[Document]) -> Table:
    table = Table.grid(padding=(0, 3, 0, 0), expand=True)
    table.add_column(justify="right", no_wrap=True)
    table.add_column(no_wrap=True)
    table.add_column(style="dim", overflow="ellipsis", no_wrap=True, ratio=1)
    for event in events:
        if event["kind"] == "summary":
            table.add_row("", Text(_summary_words(event)), Text(event["page"]))
        elif event["retracted"]:
            name = EVENTS[EventKind(event["kind"])]
            table.add_row("", Text(f"{name} taken back", style="yellow"), Text(event["why"]))
        else:
            revised = " revised" if event["revised_t_s"] is not None else ""
            name = f"{EVENTS[EventKind(event['kind'])]}{revised}{_event_size(event)}{_doubt(event)}"
            table.add_row(_event_time(event), Text(name, style="bold"), Text(event["evidence"]))
    return table


def _event_time(event: Document) -> str:
    return f"{clock(event['t_s'])} ± {COVERAGE_95 * event['u_s']:.0f} s"


def _event_size(event: Document) -> str:
    return "" if event["size_g"] is None else f" {event['size_g']:+.1f} g".replace("-", "−")


def _doubt(event: Document) -> str:
    return "" if event["confirmed"] else " (unconfirmed)"


def _summary_words(event: Document) -> str:
    return "provisional summary" if event["provisional"] else "summary"


def _number(value: Document) -> str:
    unit = value["unit"]
    if value["value"] is None:
        return "fault"
    return f"{value['value']:.{_DECIMALS[unit]}f} {_UNITS[unit]}".replace("-", "−")


def _rate(document: Document) -> str:
    rate = document["burning_rate_g_min"]
    if rate is None:
        return "–"
    held = ", reckoned through the steam" if document["burning_rate_held"] else ""
    return f"{rate['value']:.1f} ± {COVERAGE_95 * rate['u']:.1f} g/min{held}".replace("-", "−")


def _forecasts(document: Document) -> list[tuple[str, str]]:
    """Return what is forecast of boil and flameout, in words that follow those names; a dash begins a reason."""
    found = []
    for name in ("boil", "flameout"):
        forecast = document[f"{name}_forecast"]
        if "absent" in forecast:
            found.append((name, f"– {forecast['absent']}"))
        else:
            now_s = document["t_s"] or 0.0
            low_s, high_s = (max(0.0, end - now_s) for end in forecast["interval_95"])
            left_s = max(0.0, forecast["t_s"] - now_s)
            when = f"in {spoken(left_s)}" if left_s >= 1.0 else "any moment"
            found.append((name, f"{when} ({clock(low_s)} to {clock(high_s)})"))
    return found
