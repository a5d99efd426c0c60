"""What is known of a trial beside its samples, as texts: what packs and archives carry, and read again."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

from uncertainties import ufloat

from emberline import __version__
from emberline.bench.plan import parse_plan
from emberline.curves.events import Event, EventKind, Retraction
from emberline.store.burn_reader import BurnReader
from emberline.store.errors import ExportError, PackError, UnknownSeriesError
from emberline.store.records import Gap, StoredAlarm, Trial
from emberline.trials.correction_documents import change_document, read_change
from emberline.trials.corrections import Correction

SCHEMA = "emberline.pack/1"
TRIAL, BENCH, PLAN = "trial.json", "bench.toml", "plan.toml"
TEXTS = (TRIAL, BENCH, PLAN)


@dataclass(frozen=True)
class TrialDocuments:
    """What the texts say.

    Attributes:
        head: What the trial is: the members of `trial.json` under `trial`.
        events: Events as they were saved.
        retracted: What a live run took back.
        corrections: What a person changed.
        gaps: What was lost of it on the way to the store.
        alarms: Those that were raised while it was recorded; empty in what an earlier version wrote.
        plans: The plan files as they were entered, each with when; empty in what an earlier version wrote.
        series: The name of the planned series that it belongs to, and its document; both empty without one.
        bench_text: The bench file.
        plan_text: The plan.
    """

    head: Mapping[str, Any]
    events: tuple[Event, ...]
    retracted: tuple[Retraction, ...]
    corrections: tuple[Correction, ...]
    gaps: tuple[Gap, ...]
    alarms: tuple[StoredAlarm, ...]
    plans: tuple[tuple[int, str], ...]
    series: tuple[str, str]
    bench_text: str
    plan_text: str

    @property
    def trial(self) -> Trial:
        """The trial as it was where the texts were written.

        Raises:
            KeyError, TypeError, ValueError: The texts are damaged, or an earlier version wrote them.
        """
        head = self.head
        return Trial(
            id=str(head["id"]),
            bench=str(head["bench"]),
            label=None if head["label"] is None else str(head["label"]),
            origin=str(head["origin"]),
            source=None if head["source"] is None else str(head["source"]),
            start_ns=int(head["start_ns"]),
            end_ns=int(head["end_ns"]),
            zone=str(head["zone"]),
            relative=bool(head["relative"]),
            remarks=tuple(map(str, head["remarks"])),
            created_ns=int(head["created_ns"]),
            bench_text=self.bench_text,
            plan_text=self.plan_text,
        )


def texts_of(store: BurnReader, trial: Trial) -> dict[str, str]:
    """Return the texts of a trial that has ended, by name.

    Raises:
        ExportError: It is still running.
        StoreError: It cannot be read.
    """
    if trial.end_ns is None:
        raise ExportError(f"trial {trial.id} is still running: end it first")
    within = (trial.bench, trial.start_ns, trial.end_ns)
    live = trial.origin == "live"
    gaps = store.gaps(*within) if live else []
    alarms = store.alarms(*within) if live or trial.packed else []
    document = {
        "schema": SCHEMA,
        "software": {"version": __version__},
        "trial": {
            "id": trial.id,
            "bench": trial.bench,
            "label": trial.label,
            "origin": trial.origin,
            "source": trial.source,
            "start_ns": trial.start_ns,
            "end_ns": trial.end_ns,
            "zone": trial.zone,
            "relative": trial.relative,
            "remarks": list(trial.remarks),
            "created_ns": trial.created_ns,
        },
        **said_documents(store.events(trial.id), store.retractions(trial.id)),
        "corrections": [
            {
                "number": one.number,
                "made_ns": one.made_ns,
                "who": one.who,
                "why": one.why,
                "change": change_document(one.change),
            }
            for one in store.corrections(trial.id)
        ],
        "gaps": [asdict(gap) for gap in gaps],
        "alarms": [asdict(alarm) for alarm in alarms],
        "plans": [{"entered_ns": entered_ns, "text": text} for entered_ns, text in store.plans(trial.id)],
        "series": _series_document(store, trial),
    }
    return {TRIAL: json_text(document), BENCH: trial.bench_text, PLAN: trial.plan_text}


def said_documents(events: Sequence[Event], retracted: Sequence[Retraction]) -> dict[str, Any]:
    """Return what was found and what was taken back, as the members of `trial.json`."""
    return {
        "events": [_event_document(event) for event in events],
        "retracted": [
            {
                "kind": one.kind.value,
                "announced_t_s": float(one.announced_t_s),
                "retracted_t_s": float(one.retracted_t_s),
                "why": one.why,
            }
            for one in retracted
        ],
    }


def json_text(document: Mapping[str, Any]) -> str:
    """Return a document as text."""
    return json.dumps(document, ensure_ascii=False, allow_nan=False, indent=2) + "\n"


def read_texts(texts: Mapping[str, str], source: str) -> TrialDocuments:
    """Read the texts of a trial.

    Args:
        texts: The texts by name.
        source: Where they come from, for messages.

    Raises:
        PackError: They are not of this kind, or were changed.
    """
    try:
        found = json.loads(texts[TRIAL])
        if found["schema"] != SCHEMA:
            raise PackError(f"{source} is a pack of another kind ({found['schema']}): use a newer Emberline")
        return TrialDocuments(
            head=found["trial"],
            events=tuple(map(_event, found["events"])),
            retracted=tuple(
                Retraction(EventKind(one["kind"]), one["announced_t_s"], one["retracted_t_s"], one["why"])
                for one in found["retracted"]
            ),
            corrections=tuple(
                Correction(one["number"], one["made_ns"], one["who"], one["why"], read_change(one["change"]))
                for one in found["corrections"]
            ),
            gaps=tuple(map(_gap, found.get("gaps", ()))),
            alarms=tuple(_alarm(one, str(found["trial"]["bench"])) for one in found.get("alarms", ())),
            plans=tuple((int(one["entered_ns"]), str(one["text"])) for one in found.get("plans", ())),
            series=_series(found.get("series")),
            bench_text=texts[BENCH],
            plan_text=texts[PLAN],
        )
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as exc:
        raise PackError(f"{source} is no pack of Emberline's, or was changed: {exc!r}") from exc


def _series(document: Mapping[str, Any] | None) -> tuple[str, str]:
    return ("", "") if document is None else (str(document["name"]), json.dumps(document, ensure_ascii=False))


def _series_document(store: BurnReader, trial: Trial) -> Any:
    """Return the document of the series that a trial's plan names; None where it names none that is known."""
    name = parse_plan(trial.plan_text).series
    if name is None:
        return None
    try:
        return json.loads(store.series(name))
    except UnknownSeriesError:
        return None


def _gap(document: Mapping[str, Any]) -> Gap:
    device, channel, reason = (str(document[key]) for key in ("device", "channel", "reason"))
    boot, first_seq, next_seq = (int(document[key]) for key in ("boot", "first_seq", "next_seq"))
    return Gap(device, boot, channel, first_seq, next_seq, int(document["start_ns"]), int(document["end_ns"]), reason)


def _alarm(document: Mapping[str, Any], bench: str) -> StoredAlarm:
    cleared, acknowledged = (document[key] for key in ("cleared_ns", "acknowledged_ns"))
    return StoredAlarm(
        bench,
        str(document["kind"]),
        int(document["raised_ns"]),
        str(document["text"]),
        None if cleared is None else int(cleared),
        None if acknowledged is None else int(acknowledged),
        str(document["acknowledged_by"]),
    )


def _event_document(event: Event) -> dict[str, Any]:
    size = None if event.size_g is None else [float(event.size_g.n), float(event.size_g.s)]
    return {
        "kind": event.kind.value,
        "t_s": float(event.t_s),
        "u_s": float(event.u_s),
        "evidence": event.evidence,
        "size_g": size,
        "confirmed": event.confirmed,
        "announced_t_s": None if event.announced_t_s is None else float(event.announced_t_s),
        "by_person": event.by_person,
    }


def _event(document: Mapping[str, Any]) -> Event:
    size = document["size_g"]
    return Event(
        kind=EventKind(document["kind"]),
        t_s=float(document["t_s"]),
        u_s=float(document["u_s"]),
        evidence=str(document["evidence"]),
        size_g=None if size is None else ufloat(float(size[0]), float(size[1]), "size"),
        confirmed=bool(document["confirmed"]),
        announced_t_s=None if document["announced_t_s"] is None else float(document["announced_t_s"]),
        by_person=bool(document["by_person"]),
    )
