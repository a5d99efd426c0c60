"""A trial made of a burn that something else recorded; the same readings make one trial, however often they come."""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from enum import Enum
from pathlib import Path

from emberline import __version__
from emberline.app.known_burns import known_pack, known_recording
from emberline.app.output import make_folder
from emberline.app.stored import STORE_NAME, analysis_of, local_zone
from emberline.app.summaries import Stage, Summary, summary_of, write_summary
from emberline.bench.bench_file import default_bench, parse_bench
from emberline.bench.errors import TextError
from emberline.bench.plan import parse_plan
from emberline.bench.plan_values import PlanValue, changed, plan_values
from emberline.config import load_bench, read_text
from emberline.links.replay import Recording, read_recording
from emberline.service.desk import labelled
from emberline.store.errors import PackError
from emberline.store.pack import SUFFIX, read_pack, unpack
from emberline.store.reader import StoreReader
from emberline.store.records import Trial
from emberline.store.store import Store
from emberline.store.trials import zone_named
from emberline.trials.corrections import Correction, EditPlan
from emberline.trials.documents import summary_document

BY_IMPORT = "import"
"""Who changes the plan of a trial that is imported again."""


class Standing(Enum):
    """What an import did."""

    NEW = "new"
    KNOWN = "known already, left as it is"
    PLAN = "known already, given the new plan"


@dataclass(frozen=True, slots=True)
class Imported(Summary):
    """The summary of an imported trial.

    Attributes:
        standing: What the import did.
    """

    standing: Standing = Standing.NEW


def import_burn(
    source: Path,
    data: Path,
    columns: Mapping[str, str] | None = None,
    plan_text: str = "",
    *,
    bench_file: Path | None = None,
    label: str | None = None,
    stage: Stage = lambda _: None,
    now_ns: Callable[[], int] = time.time_ns,
) -> Imported:
    """Make a trial of a recorded burn: read it, keep it, analyse it, write its summary.

    Readings that the store has already stay one trial: it is given what the plan says anew, as a correction, or left as
    it is.

    Args:
        source: A text table of anyone's making, or a pack of another store's trial.
        data: Data directory; made where it does not exist.
        columns: Name or number of the column for `t_s` and for roles; guessed where None or empty.
        plan_text: What a person knows of the burn, found free of problems; empty for nothing.
        bench_file: The bench's channels; without it, defaults are assumed and stated in the summary.
        label: A name for the trial; overrules that of the plan.
        stage: Is told what begins: four times for a new trial.
        now_ns: The clock.

    Raises:
        ConfigError: The bench file has problems.
        RecordingError: The table cannot be read.
        PackError: The pack cannot be read, or brings what was named besides.
        StoreError: It cannot be kept.
        OutputError: The summary's files cannot be written.
    """
    if is_pack(source):
        if columns or bench_file or plan_text:
            raise PackError(f"{source} brings its own plan and bench: leave --plan, --bench and --column out")
        return _import_pack(source, data, label, stage, now_ns)
    stage("reading the file")
    bench_text = ""
    if bench_file is not None:
        load_bench(bench_file)
        bench_text = read_text(bench_file, "bench file")
    plan, bench = parse_plan(plan_text), parse_bench(bench_text) if bench_text else default_bench(())
    zone = local_zone()
    names = {channel.role: channel.name for channel in bench.channels}
    recording = read_recording(source, columns, origin_ns=now_ns(), zone=zone_named(zone), names=names)
    known = known_recording(data / STORE_NAME, recording, bench_text)
    if known is not None:
        return _again(known, data, source.name, plan_text, label, stage, now_ns)
    stage("keeping the samples")
    make_folder(data)
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
        # The name of a file may come again with other readings: each time is a recording of its own.
        boot = store.next_boot(f"import:{recording.source}")
        store.commit(bench.id, [replace(one, boot=boot) for one in recording.batches.values()], trial=trial.id)
        store.end_trial(trial.id, recording.end_ns)
        trial = store.trial(trial.id)
        return _summed(store, trial, data, stage)


def is_pack(source: Path) -> bool:
    """Tell whether a file is a pack, which brings its own plan and bench."""
    return source.suffix.lower() == SUFFIX


def _again(
    trial: Trial,
    data: Path,
    source: str,
    plan_text: str,
    label: str | None,
    stage: Stage,
    now_ns: Callable[[], int],
) -> Imported:
    """Give a known trial what a plan says anew; what a person changed of it meanwhile stays."""
    plans = [text for _, text in StoreReader(data / STORE_NAME).plans(trial.id)]
    values = _said_anew(labelled(trial), plans, plan_text, label)
    if values:
        with Store.open(data / STORE_NAME, now_ns) as store:
            before, log = plan_values(labelled(trial)), store.corrections(trial.id)
            change = EditPlan({key: (before.get(key), after) for key, after in values.items()})
            entry = Correction(len(log) + 1, now_ns(), BY_IMPORT, f"{source} was imported again", change)
            store.add_correction(trial.id, entry, changed(labelled(trial), values))
            return _summed(store, store.trial(trial.id), data, stage, Standing.PLAN)
    kept = summary_of(data, trial.id, stage)
    return Imported(kept.trial, kept.document, kept.folder, kept.listing, Standing.KNOWN)


def _said_anew(now: str, plans: list[str], given: str, label: str | None) -> dict[str, PlanValue | None]:
    """Return the values by which a given plan differs from the first one, where they do not hold already.

    Args:
        now: The plan as it holds, with its label.
        plans: The plans as they were entered.
        given: The plan given now; empty for none.
        label: The label given now beside it.
    """
    holds, values = plan_values(now), dict[str, PlanValue | None]()
    if given:
        wanted, first = plan_values(given), plan_values(plans[0]) if plans else {}
        values = {key: wanted.get(key) for key in {**first, **wanted} if wanted.get(key) != first.get(key)}
        if any(plan_values(one) == wanted for one in plans):
            values = {}
    if label:
        values["label"] = label
    return {key: value for key, value in values.items() if key != "format" and holds.get(key) != value}


def _import_pack(source: Path, data: Path, label: str | None, stage: Stage, now_ns: Callable[[], int]) -> Imported:
    """Make a trial of a pack, and work its numbers out anew from the samples."""
    stage("reading the pack")
    packed = read_pack(source)
    try:
        parse_plan(packed.plan_text)
        if packed.bench_text:
            parse_bench(packed.bench_text)
    except TextError as exc:
        raise PackError(f"{source} holds a plan or a bench with problems: {exc}") from exc
    known = known_pack(data / STORE_NAME, source, packed)
    if known is not None:
        return _again(known, data, source.name, "", label, stage, now_ns)
    stage("keeping the samples")
    make_folder(data)
    with Store.open(data / STORE_NAME, now_ns) as store:
        trial = unpack(source, packed, store, label)
        return _summed(store, trial, data, stage)


def _summed(store: Store, trial: Trial, data: Path, stage: Stage, standing: Standing = Standing.NEW) -> Imported:
    """Work out an entered trial, and keep and write what came out."""
    stage("finding events, telling fuel from water")
    analysis = analysis_of(store, trial)
    document = summary_document(analysis)
    store.save_events(trial.id, analysis.events, analysis.retracted)
    stage("drawing the summary")
    summary = write_summary(trial, analysis, document, data)
    store.save_summary(trial.id, summary.text, __version__, summary.listing)
    return Imported(summary.trial, summary.document, summary.folder, summary.listing, standing)


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
    told = [f"{count} x {reason}" for reason, count in recording.set_aside.items()]
    if told:
        said.append(f"Set aside or put right among the {recording.rows} rows of {recording.source}: {', '.join(told)}.")
    return said
