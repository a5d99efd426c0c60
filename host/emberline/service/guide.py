"""Guided burns as they happen: each bench's guide is shown what its bench shows, kept in the store, and acted on.

What a guide asks and what follows is decided in `trials.guide`; here it meets board, store, keeper and desk.
"""

import asyncio
import logging
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Protocol

from emberline.bench.channels import Role
from emberline.bench.errors import PlanError
from emberline.bench.inventory import Entry
from emberline.bench.plan_values import plan_values
from emberline.curves.events import EventKind
from emberline.service.board import Board
from emberline.service.desk import By, Desk
from emberline.service.errors import RequestError
from emberline.service.health import HealthWatch
from emberline.service.inventory import Inventory
from emberline.service.keeper import Keeper
from emberline.service.scale_tail import ScaleTail
from emberline.service.series_standing import plan_for_next
from emberline.store.errors import UnknownTrialError
from emberline.store.records import Trial
from emberline.store.store import Store
from emberline.trials.comparison.errors import ComparisonError
from emberline.trials.corrections import CorrectionError
from emberline.trials.guide.course import act, begin, look, opened
from emberline.trials.guide.plan_making import plan_text
from emberline.trials.guide.screen import screen
from emberline.trials.guide.seen import Seen
from emberline.trials.guide.state import Guide, read_guide
from emberline.trials.guide.typed import GuideError
from emberline.trials.guide.weighing import Stand

LOG = logging.getLogger(__name__)

BY = By("guided burn", "weighed or typed at the bench")
"""Whose corrections a guide's answers after the burn are."""
_MARKS = (EventKind.LIT, EventKind.POT_ON, EventKind.BOIL, EventKind.POT_OFF, EventKind.FLAMEOUT)


class GuidedBench(Protocol):
    """What a guide needs of a bench: that of a lane."""

    @property
    def board(self) -> Board:
        """What is known of it now."""

    @property
    def keeper(self) -> Keeper:
        """Its trials."""


@dataclass
class _Kept:
    """One bench's guide in memory.

    Attributes:
        tail: The newest readings.
        guide: Where it is; None before it was read from the store.
        saved: Its text as it was stored last.
        last: The last plan on the bench, once it was looked for.
        entries: The inventory, likewise.
        looked_ns: Time of the newest reading that it was shown.
        lock: One thing is asked at a time.
    """

    tail: ScaleTail
    guide: Guide | None = None
    saved: str = ""
    last: Mapping[str, Any] | None = None
    entries: tuple[Entry, ...] | None = None
    looked_ns: int = 0
    lock: asyncio.Lock = field(default_factory=asyncio.Lock)


class Guides:
    """The guided burns of all benches of a daemon."""

    def __init__(
        self,
        store: Store,
        benches: Mapping[str, GuidedBench],
        desk: Desk,
        inventory: Inventory,
        health: HealthWatch,
    ) -> None:
        """Prepare.

        Args:
            store: Where guides, trials and readings are kept.
            benches: The benches by id.
            desk: Takes what is weighed after the burn into the trial's plan.
            inventory: What is burnt with.
            health: Knows the room left on the disk.
        """
        self._store = store
        self._benches = benches
        self._desk = desk
        self._inventory = inventory
        self._health = health
        self._kept: dict[str, _Kept] = {}

    async def show(self, bench: str) -> dict[str, Any]:
        """Return a bench's screen as it is now.

        Raises:
            StoreError: The store cannot be read.
        """
        kept = self._of(bench)
        async with kept.lock:
            guide, seen = await self._look(bench, kept)
            await self._save(bench, kept, guide)
            return screen(guide, seen)

    async def ask(self, bench: str, request: Mapping[str, Any]) -> dict[str, Any]:
        """Do what a person asks of a bench's guide, and return the screen that follows, with what was wrong.

        Args:
            bench: Id of the bench.
            request: As in `trials.guide.course.act`; besides, `act` may be `open` (the trial, as the next run of the
                `series` that is named), `end` (it) and `anew`.
                With the step that the person saw under `at`, nothing is done where the guide is elsewhere meanwhile.

        Raises:
            StoreError: Nothing can be kept.
        """
        kept = self._of(bench)
        async with kept.lock:
            guide, seen = await self._look(bench, kept)
            if request.get("at", guide.at) != guide.at:
                await self._save(bench, kept, guide)
                return screen(guide, seen)
            kept.entries = kept.last = None
            problems: Mapping[str, str] = {}
            try:
                guide = await self._done(bench, guide, seen, request)
                guide = await self._in_the_plan(guide)
            except GuideError as error:
                problems = error.problems
            except (RequestError, CorrectionError, PlanError, ComparisonError) as error:
                problems = {"": _sentence(str(error))}
            await self._save(bench, kept, guide)
            if guide.at == "begin":
                guide, seen = await self._look(bench, kept)
            return screen(guide, seen, problems)

    async def _done(self, bench: str, guide: Guide, seen: Seen, request: Mapping[str, Any]) -> Guide:
        match request.get("act"):
            case "anew":
                return begin(seen.now_ns)
            case "open" if guide.at == "ready":
                text = whole = plan_text(guide)
                if request.get("series"):
                    whole, _ = await asyncio.to_thread(plan_for_next, self._store, str(request["series"]), text)
                trial = await self._benches[bench].keeper.arm(whole, None)
                return opened(guide, seen, trial, text)
            case "end" if guide.trial is not None:
                board = self._benches[bench].board
                if board.trial is not None and board.trial.id == guide.trial:
                    await self._benches[bench].keeper.end()
                return guide
        return act(guide, seen, request)

    async def _in_the_plan(self, guide: Guide) -> Guide:
        """Give the trial's plan what was answered since it was given it last; what others changed there stays."""
        if guide.trial is None:
            return guide
        text = plan_text(guide)
        before, now = plan_values(guide.plan_written), plan_values(text)
        values = {key: now.get(key) for key in {**before, **now} if before.get(key) != now.get(key)}
        if values:
            await self._desk.set_values(guide.trial, values, BY)
            LOG.info("trial %s: the guided burn gave %s", guide.trial, ", ".join(values))
        return replace(guide, plan_written=text)

    def _of(self, bench: str) -> _Kept:
        if bench not in self._benches:
            raise RequestError(f"no bench {bench!r} is recorded here")
        return self._kept.setdefault(bench, _Kept(ScaleTail(self._store, bench)))

    async def _look(self, bench: str, kept: _Kept) -> tuple[Guide, Seen]:
        if kept.guide is None:
            kept.saved = await asyncio.to_thread(self._store.guide, bench)
            kept.guide = read_guide(kept.saved) if kept.saved else None
            stand = Stand() if kept.guide is None else kept.guide.stand
            # What stood on the scale before it was looked at last belongs to earlier steps.
            known_ns = [level.at_ns for level in (stand.before, stand.low) if level is not None]
            kept.looked_ns = max(known_ns, default=self._benches[bench].board.clock.now_ns())
        seen = await self._seen(bench, kept)
        kept.guide = look(kept.guide or begin(seen.now_ns), seen)
        return kept.guide, seen

    async def _save(self, bench: str, kept: _Kept, guide: Guide) -> None:
        """Keep a guide, unless nothing of it has changed but the newest look at the scale."""
        kept.guide = guide
        if guide.at == "begin" and not kept.saved:
            return
        if _lasting(guide) != _lasting(read_guide(kept.saved) if kept.saved else None):
            await asyncio.to_thread(self._store.save_guide, bench, guide.text)
            kept.saved = guide.text

    async def _seen(self, bench: str, kept: _Kept) -> Seen:
        board = self._benches[bench].board
        guide = kept.guide
        document = board.document()
        readings = {
            Role(role): float(one["value"])
            for role, one in document["values"].items()
            if one["value"] is not None and not one["stale"]
        }
        if guide is None or guide.at == "begin":
            await self._look_up(bench, kept)
        trial = None if guide is None or guide.trial is None else await self._trial(guide.trial)
        seen = Seen(
            now_ns=int(document["time_ns"]),
            readings=readings,
            disk_free_bytes=self._health.disk.free_bytes,
            entries=kept.entries or (),
            last=kept.last,
        )
        if trial is not None:
            seen = await self._with_trial(seen, trial, board)
        if board.fitted is None:
            return seen
        await asyncio.to_thread(kept.tail.read, seen.now_ns)
        fitted = board.fitted
        levels = await asyncio.to_thread(kept.tail.levels, fitted, kept.looked_ns)
        level = levels[-1] if levels else None
        kept.looked_ns = seen.now_ns if level is None else level.at_ns
        return replace(
            seen,
            now_ns=seen.now_ns if level is None else level.at_ns,
            channels={channel.role: channel for channel in fitted.channels},
            level=level if Role.MASS in readings else None,
            missed=tuple(levels[:-1]),
            water_spread_c=await asyncio.to_thread(kept.tail.water_spread_c, fitted),
        )

    async def _trial(self, trial: str) -> Trial | None:
        try:
            return await asyncio.to_thread(self._store.trial, trial)
        except UnknownTrialError:
            return None  # its store was set aside

    async def _with_trial(self, seen: Seen, trial: Trial, board: Board) -> Seen:
        events = await asyncio.to_thread(self._store.events, trial.id)
        marks = {event.kind.value: trial.start_ns + int(event.t_s * 1e9) for event in events if event.kind in _MARKS}
        lifts = [event.size_g for event in events if event.kind is EventKind.POT_OFF and event.size_g is not None]
        running = board.trial is not None and board.trial.id == trial.id
        return replace(
            seen,
            marks_ns=marks,
            lift_g=-float(lifts[-1].nominal_value) if lifts else None,
            advice=board.advice[1] if board.advice[0] == trial.id else (),
            phase=_phase(board) if running else "ended",
            summary=f"/trials/{trial.id}" if trial.end_ns is not None else "",
        )

    async def _look_up(self, bench: str, kept: _Kept) -> None:
        """Look up the inventory and the last plan, once between two answers."""
        if kept.entries is not None:
            return
        kept.entries = await self._inventory.offered()
        trials = await asyncio.to_thread(self._store.trials)
        planned = [trial for trial in trials if trial.bench == bench and trial.plan_text]
        kept.last = tomllib.loads(planned[-1].plan_text) if planned else None


def _phase(board: Board) -> str:
    """Return the phase that watchers of the open trial are shown; it is not known while nothing tells it."""
    live = board.document()
    return "not known" if live["known_until_s"] is not None else str(live["phase"])


def _lasting(guide: Guide | None) -> object:
    """Return what of a guide is worth a write: all but the newest look at an untouched scale."""
    if guide is None:
        return None
    levels = [None if one is None else round(one.mean_g) for one in (guide.stand.before, guide.stand.low)]
    return guide.at, guide.answers, guide.marks_ns, guide.base, guide.trial, guide.plan_written, levels


def _sentence(words: str) -> str:
    return f"{words[:1].upper()}{words[1:].rstrip('.')}."
