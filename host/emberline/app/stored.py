"""A stored trial as the other stations need it: its bench, channels and plan, and its final pass."""

import os
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from enum import Enum, auto
from pathlib import Path
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from emberline.bench.bench_file import Bench, default_bench, parse_bench
from emberline.bench.calibration import for_calibrated_source
from emberline.bench.channels import Channel, Role, default_channel
from emberline.bench.plan import Plan, parse_plan
from emberline.bench.samples import FLAG_ARRIVAL_STAMPED, FLAG_UNCHECKED, SampleBatch
from emberline.curves.events import Event, EventKind
from emberline.heat.result import QualityNote
from emberline.store.burn_reader import BurnReader
from emberline.store.curves import curves_of
from emberline.store.errors import UnknownTrialError
from emberline.store.records import Gap, Trial
from emberline.store.schema import STORE_NAME as STORE_NAME
from emberline.store.trials import zone_named
from emberline.trials.alarms.alarm import PastAlarm
from emberline.trials.calibrating.used import used_calibrations
from emberline.trials.corrections import Log, put_back, remarks_meanwhile

if TYPE_CHECKING:
    from emberline.trials.analysis import Analysis

# Detectors load libraries that take seconds on a small computer; what only reads the store does without.

LAST = "last"
"""Stands for the trial that was entered last."""
FOR_EVER_NS = 10**16
"""Longer than any trial runs."""
MOST_GAPS_NAMED = 12
"""Gaps of one channel and cause that a summary names; the others are counted."""


def find_trial(store: BurnReader, name: str) -> Trial:
    """Return a trial by its id, or the one entered last for `last`.

    Raises:
        UnknownTrialError: There is no such trial.
    """
    if name != LAST:
        return store.trial(name)
    trials = store.trials()
    if not trials:
        raise UnknownTrialError("the store holds no trial yet: import a burn first")
    return trials[-1]


def bench_of(trial: Trial) -> Bench:
    """Return the bench as its file described it when the trial was entered; without channels where there was none."""
    return parse_bench(trial.bench_text) if trial.bench_text else default_bench(())


def channels_of(trial: Trial) -> dict[Role, Channel]:
    """Return the channel of every role: the bench file's, else the one that is assumed."""
    bench = bench_of(trial)
    channels = {role: bench.by_role(role) or default_channel(role) for role in Role}
    if trial.origin == "live":
        return channels
    return {
        role: replace(channel, calibration=for_calibrated_source(channel.calibration))
        for role, channel in channels.items()
    }


def plan_of(trial: Trial) -> Plan:
    """Return the plan entered last for a trial, under the trial's label."""
    plan = parse_plan(trial.plan_text)
    return replace(plan, label=trial.label) if trial.label else plan


def started(trial: Trial) -> str | None:
    """Return when a trial began, as a person reads it; None where only times within the trial are known."""
    if trial.relative:
        return None
    moment = datetime.fromtimestamp(trial.start_ns // 1_000_000_000, zone_named(trial.zone))
    return f"{moment:%Y-%m-%d %H:%M:%S} ({trial.zone})"


def local_zone() -> str:
    """Return the name of this machine's time zone; UTC where it cannot be told."""
    named = os.environ.get("TZ", "").removeprefix(":")
    linked = str(Path("/etc/localtime").resolve()).partition("zoneinfo/")[2]
    for name in (named, linked):
        if name and isinstance(zone_named(name), ZoneInfo):
            return name
    return "UTC"


class Announcements(Enum):
    """Whence an analysis knows when each event was announced; of a trial that was live, always from the store."""

    REPLAYED = auto()
    """A live run is played through too: what it would have said, and when."""

    STORED = auto()
    """What the store has of the trial stands."""

    LEFT_OUT = auto()
    """Nothing is said of them, by one who asks for the figures alone."""


def analysis_of(store: BurnReader, trial: Trial, announcements: Announcements = Announcements.REPLAYED) -> "Analysis":
    """Run the final pass over a trial's stored samples.

    Args:
        store: Where they are kept.
        trial: The trial.
        announcements: Whence it knows when each event was announced.

    Raises:
        StoreError: The samples cannot be read.
    """
    from emberline.trials.analysis import analyse
    from emberline.trials.tracker import Tracked

    channels = channels_of(trial)
    batches = list(store.trial_batches(trial))
    curves = curves_of(batches, channels, trial.start_ns)
    described = {role: channels[role] for role in curves if bench_of(trial).by_role(role)}
    saved = store.events(trial.id)
    log = store.corrections(trial.id)
    tracked = Tracked() if announcements is Announcements.LEFT_OUT else None
    if announcements is Announcements.STORED or trial.origin == "live" or trial.packed:
        # What was announced stands, whatever a replay would say; an event that a person moved bears its announcement.
        said = _announced(saved, log)
        tracked = Tracked(said, store.retractions(trial.id))
    analysis = analyse(
        curves,
        described,
        plan_of(trial),
        notes=remarks_meanwhile(saved, log),
        log=log,
        tracked=tracked,
        trial=trial.id,
        bench=trial.bench,
    )
    told = [QualityNote("import", remark) for remark in trial.remarks]
    told += [QualityNote("lost", words) for words in losses(store, trial)]
    used = used_calibrations(described.values(), trial.start_ns)
    told += [QualityNote("calibrated", one.words) for one in used]
    told += doubts(batches)
    return replace(
        analysis, quality=(*told, *analysis.quality), calibrations=used, alarms=tuple(past_alarms(store, trial))
    )


def _announced(saved: Sequence[Event], log: Log) -> list[Event]:
    """Return the events that were announced: as they were saved last, or before a person changed what is put back."""
    back = put_back(log)
    known = {(event.kind, event.announced_t_s) for event in back}
    said = [event for event in saved if event.announced_t_s is not None and event.kind is not EventKind.NOTE]
    return [*(event for event in said if (event.kind, event.announced_t_s) not in known), *back]


def past_alarms(store: BurnReader, trial: Trial) -> list[PastAlarm]:
    """Return the alarms that were raised while a trial was recorded, here or where its pack comes from.

    They are as they stood at its end: what becomes of them later would make each summary another one.
    """
    if trial.origin != "live" and not trial.packed:
        return []

    end_ns = trial.end_ns if trial.end_ns is not None else trial.start_ns + FOR_EVER_NS

    def t_s(moment_ns: int | None) -> float | None:
        return None if moment_ns is None or moment_ns > end_ns else (moment_ns - trial.start_ns) / 1e9

    alarms = []
    for one in store.alarms(trial.bench, trial.start_ns, end_ns):
        seen_s = t_s(one.acknowledged_ns)
        by = "" if seen_s is None else one.acknowledged_by
        raised_s = (one.raised_ns - trial.start_ns) / 1e9
        alarms.append(PastAlarm(one.kind, raised_s, one.text, t_s(one.cleared_ns), seen_s, by))
    return alarms


def doubts(batches: Sequence[SampleBatch]) -> list[QualityNote]:
    """Return what cannot be known of readings because of the way in which they came."""
    flags = int(np.bitwise_or.reduce(np.concatenate([batch.flags for batch in batches]))) if batches else 0
    notes = []
    if flags & FLAG_UNCHECKED:
        text = "Readings came as lines of text without a checksum: a damaged digit can go unseen."
        notes.append(QualityNote("unchecked", text))
    if flags & FLAG_ARRIVAL_STAMPED:
        text = "Readings without a time of their own bear that of their arrival, which is late by what the way took."
        notes.append(QualityNote("arrival_stamped", text))
    return notes


def losses(store: BurnReader, trial: Trial) -> list[str]:
    """Return what was lost of a live trial on the way to the store: a sentence for each channel and cause.

    Each names its gaps by their start and end, seconds from the trial's start.
    """
    if trial.origin != "live":
        return []
    end_ns = trial.end_ns if trial.end_ns is not None else trial.start_ns + FOR_EVER_NS
    lost: dict[tuple[str, str], list[Gap]] = {}
    for gap in store.gaps(trial.bench, trial.start_ns + 1, end_ns):
        lost.setdefault((gap.channel, gap.reason), []).append(gap)
    return [
        f"{sum(gap.next_seq - gap.first_seq for gap in gaps)} samples of channel {channel} were lost"
        f" ({_spans(gaps, trial.start_ns)}): {reason}."
        for (channel, reason), gaps in lost.items()
    ]


def _spans(gaps: Sequence[Gap], start_ns: int) -> str:
    spans = [
        f"{max(0.0, (gap.start_ns - start_ns) * 1e-9):.1f} to {(gap.end_ns - start_ns) * 1e-9:.1f} s"
        for gap in gaps[:MOST_GAPS_NAMED]
    ]
    more = len(gaps) - len(spans)
    return ", ".join(spans) + (f" and {more} gaps more" if more else "")
