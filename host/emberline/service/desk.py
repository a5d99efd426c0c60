"""The desk: where a person changes what is known of a trial, while it runs, after it has ended, or of an import.

Each change is a correction with who, when and why. It is kept first; then those who watch a running trial are told, and
the summary of an ended one is worked out anew.
"""

import asyncio
import json
import logging
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager
from dataclasses import dataclass, replace

from emberline.bench.plan_values import PlanValue, changed, plan_values
from emberline.curves.events import Event, EventKind
from emberline.service.clock import Clock
from emberline.service.keeper import Ended, Keeper
from emberline.store.reader import StoreReader
from emberline.store.records import StoredSummary, Trial
from emberline.store.store import Store
from emberline.trials.correcting import checked, plan_after
from emberline.trials.corrections import (
    LONGEST_TEXT,
    AddEvent,
    Change,
    Correction,
    CorrectionError,
    DeleteEvent,
    EditPlan,
    Exclude,
    Log,
    MoveEvent,
    Target,
    with_corrections,
)
from emberline.trials.documents import known_corrections

LOG = logging.getLogger(__name__)

SAME_S = 5.0
"""Distance within which an event that a person points at is still the one that was shown."""
NEEDS_A_REASON = (Exclude, DeleteEvent, MoveEvent)
"""Changes that others will ask about."""


@dataclass(frozen=True, slots=True)
class By:
    """Who makes a correction, and why.

    Attributes:
        who: Name of the person.
        why: In words; may be empty where the change speaks for itself.
        seen: Number of the last correction that the person knew of; None for all so far.
    """

    who: str
    why: str = ""
    seen: int | None = None


class Desk:
    """Takes corrections of all trials of a store.

    Attributes:
        works_on: Tells whether a trial's summary is being worked out, or waits for it.
    """

    def __init__(
        self,
        store: Store,
        clock: Clock,
        keepers: Mapping[str, Keeper],
        due: Callable[[Ended], None],
        works_on: Callable[[str], bool] = lambda _: False,
    ) -> None:
        """Prepare.

        Args:
            store: Where the trials are.
            clock: The daemon's clock.
            keepers: Those who keep the running trials, by bench.
            due: Told when a summary is due.
            works_on: Tells whether a trial's summary is being worked out, or waits for it.
        """
        self._store = store
        self._clock = clock
        self._keepers = keepers
        self._due, self.works_on = due, works_on
        self._lock = asyncio.Lock()

    async def resume(self) -> None:
        """Have the summaries worked out that an earlier run left behind their corrections."""
        for trial in await asyncio.to_thread(self._behind):
            self._due(Ended(trial.bench, trial.id, provisional=False))

    def _behind(self) -> list[Trial]:
        counts = self._store.correction_counts()
        corrected = [trial for trial in self._store.trials() if trial.end_ns is not None and trial.id in counts]
        return [trial for trial in corrected if is_behind(self._store.summary(trial.id), counts[trial.id])]

    def renew(self, trial: Trial) -> None:
        """Have the summary of an ended trial worked out, such as one that an earlier version wrote."""
        if trial.end_ns is not None and not self.works_on(trial.id):
            self._due(Ended(trial.bench, trial.id, provisional=False))

    async def edit_plan(self, trial: str, text: str, by: By) -> Correction:
        """Put another text in the place of a plan.

        Raises:
            PlanError: The text has problems; lists them all.
            CorrectionError: The correction cannot be made.
            StoreError: It cannot be kept.
        """
        return await self._edit(trial, plan_values(text), by, whole=True)

    async def set_values(self, trial: str, values: Mapping[str, PlanValue | None], by: By) -> Correction:
        """Set values of a plan by their keys, such as final weights; None takes a value out.

        Raises:
            PlanError: The plan would have problems; lists them all.
            CorrectionError: The correction cannot be made.
            StoreError: It cannot be kept.
        """
        return await self._edit(trial, values, by, whole=False)

    async def correct(self, trial: str, change: Change, by: By) -> Correction:
        """Make a correction and return it.

        Raises:
            CorrectionError: It cannot be made; says why, and which field is at fault.
            PlanError: The plan would have problems.
            StoreError: It cannot be kept.
        """
        async with self._at(trial) as (found, log):
            return await self._make(found, log, await self._fitting(found, change), by)

    async def _edit(self, trial: str, values: Mapping[str, PlanValue | None], by: By, *, whole: bool) -> Correction:
        async with self._at(trial) as (found, log):
            before = plan_values(labelled(found))
            after = {**(dict.fromkeys(before) if whole else {}), **values}
            edited = {key: (before.get(key), value) for key, value in after.items() if before.get(key) != value}
            if whole and by.seen is not None:
                # The text was made of what the person saw: what others changed since would be lost unseen.
                later = [one for one in log if one.number > by.seen and plan_after(log[: one.number - 1], one.change)]
                if later:
                    raise CorrectionError(
                        f"{later[-1].who} changed the plan meanwhile (correction {later[-1].number}): keep your text "
                        "aside and compare it with the plan as it is now",
                        "plan",
                    )
            return await self._make(found, log, EditPlan(edited), by)

    @asynccontextmanager
    async def _at(self, trial: str) -> AsyncIterator[tuple[Trial, Log]]:
        """Give a trial and its corrections while nobody else changes them."""
        found = await asyncio.to_thread(self._store.trial, trial)
        async with self._lock:
            keeper = self._keepers.get(found.bench) if found.origin == "live" else None
            if keeper is None:
                yield found, await asyncio.to_thread(self._store.corrections, trial)
                return
            async with keeper.held():
                found = await asyncio.to_thread(self._store.trial, trial)
                yield found, await asyncio.to_thread(self._store.corrections, trial)

    async def _make(self, trial: Trial, log: Log, change: Change, by: By) -> Correction:
        who, why = by.who.strip(), by.why.strip()
        if not who:
            raise CorrectionError("say who you are: it is kept with the correction", "who")
        if not why and isinstance(change, NEEDS_A_REASON):
            raise CorrectionError("say why: others will want to know", "why")
        if not why and isinstance(change, AddEvent) and change.kind is EventKind.NOTE:
            raise CorrectionError("write the remark first", "why")
        if max(len(who), len(why)) > LONGEST_TEXT:
            field = "who" if len(who) > LONGEST_TEXT else "why"
            raise CorrectionError(f"at most {LONGEST_TEXT} characters, please", field)
        checked(log, change, len(log) if by.seen is None else by.seen)
        values = plan_after(log, change)
        text = changed(labelled(trial), values) if values else None
        entry = Correction(len(log) + 1, self._clock.now_ns(), who, why, change)
        await asyncio.to_thread(self._store.add_correction, trial.id, entry, text)
        LOG.info("trial %s: correction %d by %s", trial.id, entry.number, who)
        keeper = self._keepers.get(trial.bench) if trial.origin == "live" else None
        running = keeper is not None and await keeper.corrected(trial.id, f"{who} changed it")
        if not running and trial.end_ns is not None:
            self._due(Ended(trial.bench, trial.id, provisional=False))
        return entry

    async def _fitting(self, trial: Trial, change: Change) -> Change:
        """Return a change whose moment lies in the record, and whose event is one that was found."""
        end_ns = self._clock.now_ns() if trial.end_ns is None else trial.end_ns
        length_s = (end_ns - trial.start_ns) / 1e9
        if isinstance(change, AddEvent | MoveEvent) and change.t_s > length_s + 1.0:
            raise CorrectionError("the moment lies after the record's end", "t")
        if not isinstance(change, MoveEvent | DeleteEvent) or change.target.of is not None:
            return change
        target = change.target
        events = await asyncio.to_thread(self._store.events, trial.id)
        near = [
            event
            for event in events
            if event.kind is target.kind and not event.by_person and abs(event.t_s - target.t_s) <= SAME_S
        ]
        if not near:
            words = target.kind.value.replace("_", " ")
            raise CorrectionError(f"there is no {words} at that moment any more: look at the trial as it is now")
        event = min(near, key=lambda one: abs(one.t_s - target.t_s))
        return replace(change, target=Target(target.kind, event.t_s, announced_t_s=event.announced_t_s))


def corrected_events(store: StoreReader, trial: Trial) -> list[Event]:
    """Return a trial's events as its corrections leave them, whether or not its record was read again since."""
    return with_corrections(store.events(trial.id), store.corrections(trial.id), trial.start_ns)


def is_behind(kept: StoredSummary | None, corrections: int) -> bool:
    """Tell whether a summary is missing, or behind its trial's readings or so many corrections."""
    return kept is None or kept.behind or known_corrections(json.loads(kept.document)) != corrections


def labelled(trial: Trial) -> str:
    """Return a trial's plan with the trial's label in it.

    Raises:
        PlanError: The stored text is none that this version reads.
    """
    return trial.plan_text if trial.label is None else changed(trial.plan_text, {"label": trial.label})
