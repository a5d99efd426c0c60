"""Alarms in a terminal: a line for each that is raised, told again, acknowledged or gone, and a table on the panel."""

from collections.abc import Mapping
from typing import Any

from rich.table import Table
from rich.text import Text

from emberline.reports.figures import spoken

Document = Mapping[str, Any]


def told_again(before: Document | None, document: Document) -> bool:
    """Return whether an alarm was told, or told again, since the document before."""
    told = {} if before is None else {_key(one): one["told"] for one in before["alarms"]}
    return any(one["told"] > told.get(_key(one), 0) for one in document["alarms"])


def alarm_lines(before: Document | None, document: Document) -> list[str]:
    """Return what is new of the alarms since the document before."""
    known = {} if before is None else {_key(one): one for one in before["alarms"]}
    lines = []
    for alarm in document["alarms"]:
        old = known.pop(_key(alarm), None)
        if alarm["acknowledged_ns"] is None and (old is None or alarm["told"] > old["told"]):
            lines.append(f"  !! {alarm['title']}. {alarm['text']} (`emberline acknowledge` once you have seen it)")
        if alarm["acknowledged_ns"] is not None and (old is None or old["acknowledged_ns"] is None):
            lines.append(f"  !! acknowledged{_by(alarm)}: {alarm['title']}")
        if alarm["cleared_ns"] is not None and (old is None or old["cleared_ns"] is None):
            lines.append(f"  !! its cause has gone: {alarm['title']}")
    gone = [one for one in known.values() if one["cleared_ns"] is None]
    return lines + [f"  !! its cause has gone: {one['title']}" for one in gone]


def alarm_table(document: Document) -> Table:
    """Return the alarms for the panel; the titles of those that nobody has seen stand out."""
    table = Table.grid(expand=True)
    table.add_column()
    for alarm in document["alarms"]:
        seen = alarm["acknowledged_ns"] is not None
        age = spoken((document["time_ns"] - alarm["raised_ns"]) * 1e-9)
        gone = ", its cause has gone" if alarm["cleared_ns"] is not None else ""
        state = f"acknowledged{_by(alarm)}" if seen else "say `emberline acknowledge` once you have seen it"
        table.add_row(
            Text.assemble(
                (f" {alarm['title']} ", "bold red" if seen else "bold white on red"),
                (f" {alarm['text']}", "red"),
                (f" ({age} ago{gone}; {state})", "dim"),
            )
        )
    return table


def _key(alarm: Document) -> tuple[str, int]:
    return alarm["kind"], alarm["raised_ns"]


def _by(alarm: Document) -> str:
    return f" by {alarm['acknowledged_by']}" if alarm["acknowledged_by"] else ""
