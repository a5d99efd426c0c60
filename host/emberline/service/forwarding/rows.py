"""What is sent to a time-series server: rows in InfluxDB's line protocol, their types fixed in one table.

| measurement | tags | fields | time |
|---|---|---|---|
| `emberline_sample` | bench, device, channel, role | value, raw, fault | of the sample |
| `emberline_event` | bench, trial, kind, revision | t_s, u_s, size_g, confirmed, replaced | of the event |
| `emberline_result` | bench, trial, result, unit, revision | value, u, low_95, high_95, replaced | the trial's start |

Every field is a number, since not all such servers keep text. Times are whole milliseconds, since some keep no finer
ones: two samples of a stream within one millisecond are set one apart. A row that is sent again replaces itself; one of
an earlier revision, which holds no more, has `replaced` 1.
"""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from enum import StrEnum
from typing import Any

import numpy as np

from emberline.bench.bench_file import Bench
from emberline.bench.errors import CalibrationError
from emberline.bench.samples import FLAG_FAULT, SampleBatch
from emberline.curves.events import Event
from emberline.trials.live_readings import ColdJunctions
from emberline.trials.trial import calibrated

MS_NS = 1_000_000
CROWDED_MS = 2
"""By so much at most, samples that share a millisecond run ahead of their own times."""


class Kind(StrEnum):
    """Type of a field."""

    FLOAT = "float"
    INTEGER = "integer"


FIELDS: Mapping[str, Mapping[str, Kind]] = {
    "emberline_sample": {"value": Kind.FLOAT, "raw": Kind.FLOAT, "fault": Kind.INTEGER},
    "emberline_event": {
        "t_s": Kind.FLOAT,
        "u_s": Kind.FLOAT,
        "size_g": Kind.FLOAT,
        "confirmed": Kind.INTEGER,
        "replaced": Kind.INTEGER,
    },
    "emberline_result": {
        "value": Kind.FLOAT,
        "u": Kind.FLOAT,
        "low_95": Kind.FLOAT,
        "high_95": Kind.FLOAT,
        "replaced": Kind.INTEGER,
    },
}
"""Fields of each measurement with their types, which never change: a server refuses a row of another type for good."""

_ESCAPES = str.maketrans({",": "\\,", "=": "\\=", " ": "\\ ", "\n": "\\ ", "\r": "\\ ", "\\": "/"})


def row(measurement: str, tags: Mapping[str, str], fields: Mapping[str, float | int | None], t_ns: int) -> str:
    """Return one line; a field that is not known or not finite is left out. Empty where none is left.

    Raises:
        KeyError: A field is not in the table.
    """
    told = []
    for name, value in fields.items():
        kind = FIELDS[measurement][name]
        if value is None or not math.isfinite(value):
            continue
        told.append(f"{name}={int(value)}i" if kind is Kind.INTEGER else f"{name}={float(value)!r}")
    if not told:
        return ""
    return f"{head(measurement, tags)} {','.join(told)} {t_ns // MS_NS * MS_NS}"


def head(measurement: str, tags: Mapping[str, str]) -> str:
    """Return the part of a line that names its stream; tags without a text are left out."""
    named = (f"{name}={tags[name].translate(_ESCAPES)}" for name in sorted(tags) if tags[name].strip())
    return ",".join((measurement, *named))


class Sampler:
    """Chooses and writes the samples that go out; remembers of each stream what went last."""

    def __init__(self, every_s: float) -> None:
        """Prepare.

        Args:
            every_s: A sample of each channel is sent once in so many seconds, the first of each; 0 for every sample.
        """
        self._every_ns = round(every_s * 1e9)
        self._last: dict[tuple[str, str, str], tuple[int, int]] = {}
        self._junctions: dict[str, ColdJunctions] = {}

    def ahead(self) -> "Sampler":
        """Return one that goes on from here; it takes this one's place once the server has what it chose."""
        sampler = Sampler(0.0)
        sampler._every_ns, sampler._last = self._every_ns, dict(self._last)
        sampler._junctions = {bench: junctions.copy() for bench, junctions in self._junctions.items()}
        return sampler

    def rows(self, bench_id: str, bench: Bench | None, batches: Sequence[SampleBatch]) -> Iterator[str]:
        """Yield the lines of some batches, in the order in which they were committed.

        Args:
            bench_id: Id of the bench.
            bench: Its channels and calibrations; None where they are not known, so that raw values go alone.
            batches: The batches.
        """
        junctions = self._junctions.setdefault(bench_id, ColdJunctions())
        junctions.take(batches)
        for batch in batches:
            channel = None if bench is None else bench.by_name(batch.channel)
            chosen, t_ms = self._chosen(bench_id, batch)
            raw = batch.raw[chosen]
            fault = (batch.flags[chosen] & FLAG_FAULT) != 0
            values = raw * np.nan
            if channel is not None and len(raw):
                with suppress(CalibrationError):
                    t_s = batch.t_ns[chosen] / 1e9
                    values = calibrated(channel, t_s, np.where(fault, np.nan, raw), junctions.of(channel))
            role = "" if channel is None else channel.role.value
            tags = {"bench": bench_id, "device": batch.device, "channel": batch.channel, "role": role}
            named = head("emberline_sample", tags)
            for at_ms, one, value, bad in zip(t_ms, raw.tolist(), values.tolist(), fault.tolist(), strict=True):
                known = f"value={value!r}," if math.isfinite(value) else ""
                seen = f"raw={one!r}," if math.isfinite(one) else ""
                yield f"{named} {known}{seen}fault={int(bad)}i {at_ms * MS_NS}"

    def _chosen(self, bench_id: str, batch: SampleBatch) -> tuple[list[int], list[int]]:
        """Return the places of the samples that go out, and their times in milliseconds, each later than the last."""
        key = (bench_id, batch.device, batch.channel)
        slot, last_ms = self._last.get(key, (-1, -1))
        places, times = [], []
        for place, t_ns in enumerate(batch.t_ns.tolist()):
            now = t_ns // self._every_ns if self._every_ns else -1
            # What arrives late belongs to a slot that is past; it is sent all the same where every sample is.
            if self._every_ns and now == slot:
                continue
            slot = now
            at_ms = t_ns // MS_NS
            # One that comes late keeps its own time, and so does one after a clock that was set back.
            if last_ms - CROWDED_MS <= at_ms <= last_ms:
                at_ms = last_ms + 1
            last_ms = at_ms
            places.append(place)
            times.append(at_ms)
        self._last[key] = (slot, last_ms)
        return places, times


def replaced_row(line: str) -> str:
    """Return the line that says of another, of an event or a result, that it holds no more."""
    named, _, t_ns = line.rsplit(" ", 2)
    return f"{named} replaced=1i {t_ns}"


def event_rows(bench: str, trial: str, revision: int, start_ns: int, events: Iterable[Event]) -> Iterator[str]:
    """Yield the lines of a trial's events."""
    for event in events:
        fields = {
            "t_s": event.t_s,
            "u_s": event.u_s,
            "size_g": None if event.size_g is None else float(event.size_g.nominal_value),
            "confirmed": int(event.confirmed),
            "replaced": 0,
        }
        tags = {"bench": bench, "trial": trial, "kind": event.kind.value, "revision": str(revision)}
        yield row("emberline_event", tags, fields, start_ns + round(event.t_s * 1e9))


def result_rows(bench: str, trial: str, revision: int, start_ns: int, document: Mapping[str, Any]) -> Iterator[str]:
    """Yield the lines of a trial's results, from its summary."""
    for name, result in document["results"].items():
        low, high = result["interval_95"] or (None, None)
        if not math.isfinite(result["value"]):
            continue
        fields = {"value": result["value"], "u": result["u"], "low_95": low, "high_95": high, "replaced": 0}
        tags = {"bench": bench, "trial": trial, "result": name, "unit": result["unit"], "revision": str(revision)}
        yield row("emberline_result", tags, fields, start_ns)
