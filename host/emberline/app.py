"""The parts wired together: what each command does, without a word on the screen."""

import json
import os
import time
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from emberline import __version__
from emberline.bench.bench_file import Bench, SerialPort, default_bench, parse_bench
from emberline.bench.bench_template import bench_template
from emberline.bench.calibration import for_calibrated_source
from emberline.bench.channels import Channel, Role, default_channel
from emberline.bench.plan import Plan, parse_plan
from emberline.config import ConfigError, load_bench, load_plan, read_text
from emberline.heat.result import QualityNote
from emberline.links.replay import BLANK_CELL, Recording, read_recording
from emberline.store import export
from emberline.store.curves import curves_of
from emberline.store.errors import StoreBusyError, UnknownTrialError
from emberline.store.records import Trial
from emberline.store.store import Store, StoreReader
from emberline.store.trials import zone_named
from emberline.trials.documents import document_json, summary_document

if TYPE_CHECKING:
    from emberline.service.daemon import Daemon
    from emberline.service.final_pass import Summed
    from emberline.trials.analysis import Analysis

# Detectors and plots load libraries that take seconds on a small computer; what only reads the store does without.

STORE_NAME = "emberline.sqlite3"
LAST = "last"
"""Stands for the trial that was entered last."""

Stage = Callable[[str], None]
"""Is told what begins, for a progress display."""

Document = Mapping[str, Any]


class OutputError(Exception):
    """A file cannot be written; the message says what to do."""


@dataclass(frozen=True, slots=True)
class Summary:
    """A trial's summary, and where its files lie."""

    trial: Trial
    document: Document
    folder: Path

    @property
    def page(self) -> Path:
        """The HTML file."""
        return self.folder / "summary.html"

    @property
    def text(self) -> str:
        """The document as JSON text, the same bytes as in the file."""
        return document_json(self.document)


def write_bench_file(target: Path) -> None:
    """Write the commented bench file that a person starts from.

    Raises:
        OutputError: The file exists, or cannot be written.
    """
    try:
        with target.open("x", encoding="utf-8") as file:
            file.write(bench_template())
    except FileExistsError as exc:
        raise OutputError(f"{target} exists and is left alone: name another file") from exc
    except OSError as exc:
        raise OutputError(f"cannot write {target}: {exc.strerror or exc}") from exc


def import_burn(
    source: Path,
    data: Path,
    columns: Mapping[str, str] | None = None,
    *,
    plan_file: Path | None = None,
    bench_file: Path | None = None,
    label: str | None = None,
    stage: Stage = lambda _: None,
    now_ns: Callable[[], int] = time.time_ns,
) -> Summary:
    """Make a trial of a recorded burn: read it, keep it, analyse it, write its summary.

    Args:
        source: A text table of anyone's making.
        data: Data directory; made where it does not exist.
        columns: Name or number of the column for `t_s` and for roles; guessed where None or empty.
        plan_file: What a person knows of the burn.
        bench_file: The bench's channels; without it, defaults are assumed and stated in the summary.
        label: A name for the trial; overrules that of the plan.
        stage: Is told what begins: four times.
        now_ns: The clock.

    Raises:
        ConfigError: The plan or the bench file has problems.
        RecordingError: The table cannot be read.
        StoreError: It cannot be kept.
        OutputError: The summary's files cannot be written.
    """
    stage("reading the file")
    plan_text = _checked(plan_file, "plan", load_plan)
    bench_text = _checked(bench_file, "bench file", load_bench)
    plan, bench = parse_plan(plan_text), parse_bench(bench_text) if bench_text else default_bench(())
    zone = local_zone()
    names = {channel.role: channel.name for channel in bench.channels}
    recording = read_recording(source, columns, origin_ns=now_ns(), zone=zone_named(zone), names=names)
    stage("keeping the samples")
    _make_folder(data)
    with Store.open(data / STORE_NAME, now_ns) as store:
        trial = store.create_trial(
            bench=bench.id,
            start_ns=recording.start_ns,
            zone=zone,
            origin="import",
            source=recording.source,
            relative=recording.relative,
            remarks=_remarks(recording),
            label=label or plan.label,
            bench_text=bench_text,
            plan_text=plan_text,
        )
        # The same file may be imported again, with another plan: each time is a recording of its own.
        boot = store.next_boot(f"import:{recording.source}")
        store.commit(bench.id, [replace(one, boot=boot) for one in recording.batches.values()], trial=trial.id)
        store.end_trial(trial.id, recording.end_ns)
        trial = store.trial(trial.id)
        stage("finding events, telling fuel from water")
        analysis = analysis_of(store, trial)
        document = summary_document(analysis)
        store.save_events(trial.id, analysis.events, analysis.retracted)
        store.save_summary(trial.id, document_json(document), __version__)
        stage("drawing the summary")
        return _written(trial, analysis, document, data)


def analysis_of(store: StoreReader, trial: Trial, *, follow: bool = True) -> "Analysis":
    """Run the final pass over a trial's stored samples.

    Args:
        store: Where they are kept.
        trial: The trial.
        follow: Whether to play a live run through too, which tells when it would have announced each event.

    Raises:
        StoreError: The samples cannot be read.
    """
    from emberline.trials.analysis import analyse
    from emberline.trials.tracker import Tracked

    channels = channels_of(trial)
    curves = curves_of(store.trial_batches(trial), channels, trial.start_ns)
    described = {role: channels[role] for role in curves if bench_of(trial).by_role(role)}
    saved = store.events(trial.id)
    by_person = [event for event in saved if event.by_person]
    tracked = None if follow else Tracked()
    if trial.origin == "live":
        # What was announced stands, whatever a replay would say.
        said = [event for event in saved if event.announced_t_s is not None and not event.by_person]
        tracked = Tracked(said, store.retractions(trial.id))
    analysis = analyse(
        curves,
        described,
        plan_of(trial),
        person_events=by_person,
        tracked=tracked,
        trial=trial.id,
        bench=trial.bench,
    )
    notes = [QualityNote("import", remark) for remark in trial.remarks]
    notes += [QualityNote("lost", words) for words in _losses(store, trial)]
    return replace(analysis, quality=(*notes, *analysis.quality))


def _losses(store: StoreReader, trial: Trial) -> list[str]:
    """Return what was lost of a live trial on the way to the store, a sentence for each reason."""
    if trial.origin != "live":
        return []
    end_ns = trial.end_ns if trial.end_ns is not None else trial.start_ns + 10**16
    lost: dict[tuple[str, str], tuple[int, float]] = {}
    for gap in store.gaps(trial.bench, trial.start_ns + 1, end_ns):
        number, since_s = lost.get((gap.channel, gap.reason), (0, (gap.start_ns - trial.start_ns) / 1e9))
        lost[gap.channel, gap.reason] = (number + gap.next_seq - gap.first_seq, since_s)
    return [
        f"{number} samples of channel {channel} were lost, from {max(since_s, 0.0):.0f} s after the start on: {reason}."
        for (channel, reason), (number, since_s) in lost.items()
    ]


def live_summary(data: Path, trial_id: str, provisional: bool) -> "Summed":
    """Work out the summary of a live trial and write its files; called in a process of its own.

    Args:
        data: Data directory.
        trial_id: Id of the trial.
        provisional: Whether the trial goes on.

    Raises:
        StoreError: The samples cannot be read.
        OutputError: The files cannot be written.
    """
    from emberline.service.final_pass import Summed

    store = StoreReader(data / STORE_NAME)
    trial = store.trial(trial_id)
    analysis = analysis_of(store, trial)
    if provisional:
        note = QualityNote("provisional", "This summary is provisional: the char still glows and the record goes on.")
        analysis = replace(analysis, quality=(note, *analysis.quality))
    summary = _written(trial, analysis, summary_document(analysis), data)
    return Summed(summary.text, __version__, analysis.events, analysis.retracted, summary.page)


async def serve(
    data: Path,
    *,
    bench_file: Path | None = None,
    port: str | None = None,
    speed: float = 1.0,
    name: str = "bench",
    beside: "Callable[[Daemon], Awaitable[None]] | None" = None,
) -> None:
    """Run the daemon of a bench until it is told to stop.

    Args:
        data: Data directory; made where it does not exist.
        bench_file: The bench; without it the device's channel names are taken for roles.
        port: Serial port, instead of the bench file's.
        speed: Seconds of the bench in a second; more than 1 only for a simulated bench.
        name: Id of the bench where no bench file gives one.
        beside: Runs beside the daemon, and stops it when it returns.

    Raises:
        ConfigError: The bench file has problems, or names no port.
        StoreError: The store cannot be opened.
        ServiceError: A part of the daemon failed for good.
    """
    from emberline.service.clock import fast_clock, real_clock
    from emberline.service.daemon import Daemon, Setting, stopped_by_signals

    bench = None if bench_file is None else load_bench(bench_file)
    serial = SerialPort() if bench is None or bench.serial is None else bench.serial
    if port is not None:
        serial = replace(serial, port=port)
    if serial.port is None and serial.vendor_id is None:
        raise ConfigError(bench_file or data, "no serial port is named: add [serial] to the bench file, or give --port")
    _make_folder(data)
    clock = real_clock() if speed == 1.0 else fast_clock(speed, data)
    store = Store.open(data / STORE_NAME, clock.now_ns)
    setting = Setting(data, bench, name if bench is None else bench.id, serial, local_zone())
    daemon = Daemon(setting, store, clock, partial(live_summary, data))
    with stopped_by_signals(daemon):
        await daemon.run(None if beside is None else partial(beside, daemon))


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


def listed(data: Path) -> list[tuple[Trial, Document | None]]:
    """Return all trials with their summaries, in the order in which they were entered.

    Raises:
        StoreError: There is no store, or it cannot be read.
    """
    store = StoreReader(data / STORE_NAME)
    found = []
    for trial in store.trials():
        kept = store.summary(trial.id)
        found.append((trial, json.loads(kept.document) if kept else None))
    return found


def summary_of(data: Path, name: str, stage: Stage = lambda _: None) -> Summary:
    """Return a trial's summary: as it was written, or worked out anew if another version of the program wrote it.

    Args:
        data: Data directory.
        name: Id of the trial, or `last`.
        stage: Is told what begins.

    Raises:
        StoreError: There is no such store or trial, or it cannot be read.
        OutputError: The summary's files cannot be written.
    """
    store = StoreReader(data / STORE_NAME)
    trial = find_trial(store, name)
    kept = store.summary(trial.id)
    folder = _folder(data, trial)
    if kept is not None and kept.version == __version__ and (folder / "summary.html").exists():
        return Summary(trial, json.loads(kept.document), folder)
    stage("finding events, telling fuel from water")
    analysis = analysis_of(store, trial)
    document = summary_document(analysis)
    stage("drawing the summary")
    summary = _written(trial, analysis, document, data)
    try:
        with Store.open(store.path) as writer:
            writer.save_events(trial.id, analysis.events, analysis.retracted)
            writer.save_summary(trial.id, summary.text, __version__)
    except StoreBusyError:
        # A recording program holds the store: the summary is shown and its files are new; it will be kept next time.
        pass
    return summary


def export_trial(
    data: Path, name: str, target: Path, *, raw: bool, overwrite: bool = False, stage: Stage = lambda _: None
) -> int:
    """Write a trial's curves into a file and return the number of rows.

    Args:
        data: Data directory.
        name: Id of the trial, or `last`.
        target: File that ends in `.csv` or `.parquet`.
        raw: Every sample instead of one row a second.
        overwrite: Whether the file may exist.
        stage: Is told what begins.

    Raises:
        StoreError: There is no such store or trial, or it cannot be read.
        ExportError: The file cannot be written.
    """
    export.require_writable(target, overwrite=overwrite)
    store = StoreReader(data / STORE_NAME)
    trial = find_trial(store, name)
    stage("reading the samples")
    if raw:
        columns = export.every_sample(store.trial_batches(trial), channels_of(trial), trial.start_ns)
    else:
        columns = export.by_second(analysis_of(store, trial, follow=False))
    stage("writing the file")
    export.write(columns, target)
    return len(columns["t_s"])


def find_trial(store: StoreReader, name: str) -> Trial:
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


def _checked(path: Path | None, what: str, load: Callable[[Path], object]) -> str:
    """Return the text of a file that was found free of problems; empty without a file."""
    if path is None:
        return ""
    load(path)
    return read_text(path, what)


def _remarks(recording: Recording) -> list[str]:
    """Return what a reader of the results should know of the file, a sentence each."""
    said = []
    if recording.guessed:
        pairs = ", ".join(f"{key} = {name!r}" for key, name in recording.columns.items())
        said.append(f"Columns were guessed from their names: {pairs}.")
    if recording.relative:
        said.append("Times are relative: the file names no date.")
    if recording.ignored:
        said.append(f"Columns not used: {', '.join(recording.ignored)}.")
    said += [f"{remark[0].upper()}{remark[1:]}." for remark in recording.remarks]
    # Channels that keep different paces leave cells blank, so those come last and apart.
    counts = sorted(recording.set_aside.items(), key=lambda item: item[0].startswith(BLANK_CELL))
    told = [f"{count} x {reason}" for reason, count in counts]
    if told:
        said.append(f"Set aside or put right among the {recording.rows} rows of {recording.source}: {', '.join(told)}.")
    return said


def _folder(data: Path, trial: Trial) -> Path:
    return data / "trials" / trial.id


def _written(trial: Trial, analysis: "Analysis", document: Document, data: Path) -> Summary:
    from emberline.reports.page import summary_page

    summary = Summary(trial, document, _folder(data, trial))
    _make_folder(summary.folder)
    write_text(summary.folder / "summary.json", summary.text)
    write_text(summary.page, summary_page(analysis, started=started(trial)))
    return summary


def _make_folder(path: Path) -> None:
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as exc:
        raise OutputError(f"cannot make the folder {path}: {exc.strerror or exc}") from exc


def write_text(path: Path, text: str) -> None:
    """Write a file that appears when it is whole.

    Raises:
        OutputError: It cannot be written.
    """
    unfinished = path.with_name(path.name + ".unfinished")
    try:
        unfinished.write_text(text, encoding="utf-8")
        unfinished.replace(path)
    except OSError as exc:
        raise OutputError(f"cannot write {path}: {exc.strerror or exc}") from exc
