"""A stored trial in a program of one's own: its numbers and curves, and what they would be with other inputs."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from emberline.lab.tables import Table, events_table

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from emberline.bench.plan_values import PlanValue
    from emberline.store.burn_reader import BurnReader
    from emberline.store.records import Trial as Record
    from emberline.trials.analysis import Analysis

# What works a trial out, or draws it, loads libraries that take most of a second; a look into the store does without.


class Trial:
    """One trial, as its store has it or worked out anew with other inputs; never changed, and nothing is written.

    What has to be worked out is worked out when it is first asked for, and kept.
    """

    def __init__(self, reader: "BurnReader", record: "Record", *, anew: bool = False) -> None:
        """Use `Store.trial`, or `Trial.recompute`."""
        self._reader, self._record, self._anew = reader, record, anew

    def __repr__(self) -> str:
        return f"<Trial {self.id}{f' {self.label!r}' if self.label else ''}{', recomputed' * self._anew}>"

    @property
    def id(self) -> str:
        """Its id, as `emberline trials` lists it."""
        return self._record.id

    @property
    def bench(self) -> str:
        """Id of its bench."""
        return self._record.bench

    @cached_property
    def label(self) -> str | None:
        """Its name for people, or None."""
        from emberline.app.stored import plan_of

        return plan_of(self._record).label

    @property
    def started(self) -> np.datetime64:
        """When its first sample was taken, UTC; NaT where the record names no date."""
        return np.datetime64("NaT" if self._record.relative else self._record.start_ns, "ns")

    @property
    def running(self) -> bool:
        """Whether it has not ended yet."""
        return self._record.end_ns is None

    @property
    def excluded(self) -> str | None:
        """Why a person excluded it; None where it counts."""
        held = self.summary["excluded"]
        return None if held is None else str(held["why"])

    @property
    def factors(self) -> dict[str, str]:
        """The conditions that its plan names."""
        return dict(self.summary["factors"])

    @cached_property
    def plan(self) -> "dict[str, PlanValue]":
        """The values of its plan by key, such as `fuel.mass_g`; units and meanings are those of the plan file."""
        from emberline.bench.plan_values import plan_values

        return plan_values(self._record.plan_text)

    @property
    def plan_text(self) -> str:
        """Its plan as TOML; empty without one."""
        return self._record.plan_text

    @property
    def bench_text(self) -> str:
        """Its bench file as TOML; empty where the usual bench was assumed."""
        return self._record.bench_text

    @cached_property
    def summary(self) -> dict[str, Any]:
        """Its summary, the document `emberline.summary/1`: as it is kept, or worked out where that is due.

        Raises:
            StoreError: The samples cannot be read.
        """
        from emberline.app.summaries import document_by_this_version
        from emberline.trials.documents import summary_document

        kept = None if self._anew else document_by_this_version(self._reader, self._record)
        return summary_document(self._analysis) if kept is None else dict(kept)

    @property
    def events(self) -> Table:
        """Its events, a row each, in order of time.

        The columns are `kind`, `t_s` and its standard uncertainty `u_s`, `announced_t_s`, `size_g`, `confirmed`,
        `by_person` and `evidence`; times are seconds from the first sample.
        """
        return events_table(self.summary["events"])

    def value(self, result: str) -> float:
        """Return a result of the summary by its name; NaN where it is absent, `why_absent` says why.

        Raises:
            KeyError: There is no result of that name.
        """
        found = self.summary["results"].get(result)
        if found is None:
            _ = self.why_absent(result)
            return float("nan")
        return float(found["value"])

    def why_absent(self, result: str) -> str:
        """Return why a result is absent, and what to do about it; empty where it is there.

        Raises:
            KeyError: There is no result of that name.
        """
        return "" if result in self.summary["results"] else str(self.summary["absent"][result])

    def curves(self) -> Table:
        """Return its curves, a row a second; the columns are those of `emberline export`.

        Raises:
            StoreError: The samples cannot be read.
        """
        from emberline.store.export import by_second

        columns = by_second(self._analysis)
        return {
            name: np.array(column, dtype=object if isinstance(column, list) else None)
            for name, column in columns.items()
        }

    def samples(self, role: str) -> Table:
        """Return the samples of one channel, calibrated: `t_s`, and the values in a column such as `mass_g`.

        Args:
            role: What the channel measures, such as `mass` or `water`.

        Returns:
            The table, without rows where the trial has no such channel; NaN where the converter reported a fault.

        Raises:
            ValueError: There is no such role.
            StoreError: The samples cannot be read.
        """
        from emberline.app.stored import channels_of
        from emberline.bench.channels import Role
        from emberline.store.curves import curves_of
        from emberline.store.export import column_name

        asked = Role(role)
        channels, record = channels_of(self._record), self._record
        found = curves_of(self._reader.trial_batches(record), {asked: channels[asked]}, record.start_ns)
        nothing = np.zeros(0)
        curve = found.get(asked)
        return {
            "t_s": nothing if curve is None else curve.t_s,
            column_name(asked): nothing if curve is None else curve.value,
        }

    def recompute(
        self, plan: "Mapping[str, PlanValue | None] | None" = None, bench: str | Path | None = None
    ) -> "Trial":
        """Return the trial as it would be with other inputs, worked out from its stored samples by this version.

        With nothing changed, its summary equals the stored one of this version, digit by digit. The moments at which
        a live run announced its events are those that are stored, whatever is changed.

        Args:
            plan: Values of the plan by key, such as `{"fuel.moisture_wet": 0.14}`; None takes a value out. What is
                not named stays as it is.
            bench: Another bench file, and with it another calibration: its path, or its text.

        Raises:
            PlanError: The plan would have problems; lists them all.
            BenchFileError: The bench file has problems; lists them all.
            ConfigError: It cannot be read.
        """
        from emberline.bench.bench_file import parse_bench
        from emberline.bench.plan_values import changed
        from emberline.config import load_bench, read_text

        record = self._record
        if plan:
            named = record.label if "label" not in plan else None
            record = replace(record, plan_text=changed(record.plan_text, plan), label=named)
        if isinstance(bench, Path):
            load_bench(bench)
            record = replace(record, bench_text=read_text(bench, "bench file"))
        elif bench is not None:
            parse_bench(bench)
            record = replace(record, bench_text=bench)
        return Trial(self._reader, record, anew=True)

    def figure(self, *, narrow: bool = False) -> "Figure":
        """Draw its curves and events, as the summary page does.

        Args:
            narrow: 89 mm wide, one column of most journals, instead of 185 mm.

        Returns:
            A matplotlib figure; `savefig("burn.pdf")` writes it, as PDF, SVG or PNG by its ending.

        Raises:
            StoreError: The samples cannot be read.
            ValueError: The trial holds no reading.
        """
        from emberline.reports.panels import NARROW, WIDE
        from emberline.reports.paper import burn_figure

        return burn_figure(self._analysis, NARROW if narrow else WIDE)

    @cached_property
    def _analysis(self) -> "Analysis":
        from emberline.app.stored import Announcements, analysis_of
        from emberline.app.summaries import document_by_this_version

        # Playing a live run through takes twenty times as long as all else, and finds what is kept already; but for a
        # corrected trial, where a person's events have taken the place of some that were announced.
        kept = document_by_this_version(self._reader, self._record)
        stands = kept is not None and not kept["corrections"]
        return analysis_of(self._reader, self._record, Announcements.STORED if stands else Announcements.REPLAYED)


def overlay(groups: Mapping[str, Sequence[Trial]], *, narrow: bool = False) -> "Figure":
    """Draw the curves of several trials over each other, from lit, in one colour a group.

    Args:
        groups: Trials by the name of their group, at most eight groups.
        narrow: 89 mm wide instead of 185 mm.

    Raises:
        StoreError: The samples cannot be read.
        ValueError: There is no group, more than eight of them, or nothing to be drawn.
    """
    from emberline.reports.panels import NARROW, WIDE
    from emberline.reports.paper import overlay_figure

    return overlay_figure(
        {name: [trial._analysis for trial in trials] for name, trials in groups.items()}, NARROW if narrow else WIDE
    )
