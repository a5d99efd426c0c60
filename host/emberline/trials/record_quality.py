"""Quality notes about the record itself: what was assumed, where readings are missing, how windy it was."""

from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from emberline.bench.channels import Channel, Role, describe_assumptions
from emberline.curves.events import Event, EventKind
from emberline.curves.grid import Column, Grid
from emberline.curves.robust import runs
from emberline.heat.result import QualityNote

GAP_S = 10
"""Shortest silence of a channel that is worth a note."""
WINDY_G = 1.0
"""Noise of the mass over some ten seconds from which on wind is blamed (common practice, no source)."""


def record_notes(
    grid: Grid,
    channels: Mapping[Role, Channel],
    assumed: Sequence[Role],
    events: Sequence[Event],
    boiling_basis: str,
    noise_g: NDArray[np.float64] | None,
) -> tuple[QualityNote, ...]:
    """Return what a reader should know about a record, in a fixed order.

    Args:
        grid: The record.
        channels: The channels by role.
        assumed: Roles whose channel nobody described.
        events: The trial's events.
        boiling_basis: What the boiling temperature rests on, in words.
        noise_g: (n,) noise of the mass as it acts on a slope; None without a load cell.
    """
    notes = [QualityNote("assumed_channel", describe_assumptions(channels[role])) for role in sorted(assumed)]
    if any(event.kind is EventKind.BOIL for event in events) or Role.WATER in channels:
        notes.append(QualityNote("boiling_point_basis", f"Local boiling point from {boiling_basis}."))
    for role in sorted(grid.columns):
        notes += _gap_notes(channels[role].name, grid.columns[role])
    if noise_g is not None and len(noise_g):
        typical = float(np.median(noise_g))
        if typical > WINDY_G:
            text = (
                f"The load wavered by {typical:.1f} g within ten seconds, as in wind; the intervals are wider for it."
            )
            notes.append(QualityNote("unsteady_load", text))
    unexplained = [e for e in events if e.kind is EventKind.STEP and "unexplained" in e.evidence]
    if unexplained:
        at = ", ".join(f"{_into(e.t_s)} ({e.size_g:.1f} g)" for e in unexplained if e.size_g is not None)
        text = f"Steps of the load that nothing explains, by the time into the record: {at}."
        notes.append(QualityNote("unexplained_step", text))
    return tuple(notes)


def _into(t_s: float) -> str:
    """Write a time from the record's start as minutes and seconds."""
    return f"{int(t_s) // 60}:{int(t_s) % 60:02d}"


def _gap_notes(name: str, column: Column) -> list[QualityNote]:
    """Say where a channel was silent for longer than it usually is."""
    known = np.flatnonzero(column.count > 0)
    if len(known) < 2:
        return [QualityNote("no_readings", f"Channel {name} has next to no readings.")]
    usual = float(np.median(np.diff(known)))
    limit = max(GAP_S, 5 * usual)
    silent = [(a, b) for a, b in runs(column.count == 0) if b - a >= limit]
    if not silent:
        return []
    total = sum(b - a for a, b in silent)
    longest = max(silent, key=lambda run: run[1] - run[0])
    text = (
        f"Channel {name} was silent for {total:.0f} s in {len(silent)} gap{'s' if len(silent) > 1 else ''}, the "
        f"longest {longest[1] - longest[0]:.0f} s, {_into(longest[0])} into the record."
    )
    return [QualityNote("gap", text)]
