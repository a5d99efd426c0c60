"""The keeper of trials: opens them, announces their events, ends them, and sees to their summaries.

What happens in the curves is found by `Following`, in a process apart and from what is stored alone; here is decided
what follows from it.
"""

import asyncio
import logging
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field, replace
from itertools import islice
from typing import Protocol

from emberline.bench.bench_file import Bench, parse_bench
from emberline.bench.plan import parse_plan
from emberline.curves.events import Event, EventKind, Retraction
from emberline.service.bench_fit import bench_text
from emberline.service.board import Board, TrialNow
from emberline.service.clock import Clock
from emberline.service.errors import ApartError, BegunAnewError, RequestError
from emberline.service.open_trial import OpenTrial, how, key
from emberline.service.plan_label import labelled_plan
from emberline.service.watch import FIRST_COMMITS, LOOKOUT_S, SECOND_NS, Turn, Watch
from emberline.store.errors import StoreError
from emberline.store.past import Past
from emberline.store.reader import StoreReader
from emberline.store.records import Note, Trial
from emberline.store.store import Store
from emberline.trials.live_document import event_document

LOG = logging.getLogger(__name__)

AGAIN_S, LONGEST_AGAIN_S = 1.0, 60.0
"""Pauses before a record that could not be followed is followed anew, real seconds: each attempt may cost the process
apart, which serves other benches too."""
LASTED_S = 120.0
"""What went well for so long has been mended."""
ARMED_HISTORY_S = 60
"""Seconds before arming that belong to an armed trial: who arms as the match is struck has a level to start from."""
CATCH_UP_S = 0.02
"""Shortest time between two turns, real seconds."""


class Follower(Protocol):
    """`Following`, wherever it runs."""

    async def begin(self, watch: Watch) -> None:
        """Follow a record."""

    async def turn(self) -> Turn:
        """Follow it further."""


@dataclass(frozen=True)
class Ended:
    """A trial whose summary is due.

    Attributes:
        bench: Id of its bench.
        trial: Its id.
        provisional: Whether it goes on: the flame is out, the char glows.
    """

    bench: str
    trial: str
    provisional: bool


@dataclass
class Keeper:
    """Keeps the trials of one bench.

    Attributes:
        store: The store.
        bench: Id of the bench.
        clock: The daemon's clock.
        board: Where announcements are shown.
        zone: Name of the time zone in which a person reads times.
        follower: Follows the record.
        due: Told when a summary is due.
    """

    store: Store
    bench: str
    clock: Clock
    board: Board
    zone: str
    follower: Follower
    due: Callable[[Ended], None]
    _fitted: Bench | None = None
    _open: OpenTrial | None = None
    _watching: bool = False
    _since_ns: int = 0
    _newest_ns: int | None = None
    _trouble: str = ""
    _remarks: list[tuple[int, str]] = field(default_factory=list)
    _lock: asyncio.Lock = field(default_factory=asyncio.Lock)
    _nudged: asyncio.Event = field(default_factory=asyncio.Event)

    def nudge(self, newest_ns: int | None = None) -> None:
        """Tell that the store has something new, the newest sample of it taken at `newest_ns`."""
        if newest_ns is not None:
            self._newest_ns = max(newest_ns, self._newest_ns or newest_ns)
        self._nudged.set()

    def added_to(self, trials: Sequence[str]) -> None:
        """Tell of trials that were given readings after their end, of which their summaries know nothing."""
        for trial in trials:
            self.due(Ended(self.bench, trial, provisional=False))

    def fit(self, bench: Bench) -> None:
        """Use a bench with its device's calibrations for the trials to come."""
        if self._open is None and self._fitted not in (None, bench):
            # The next fire is looked out for with what the bench was calibrated to meanwhile.
            self._watching = False
        self._fitted = bench
        self.nudge()

    def remark(self, text: str) -> None:
        """Have a remark kept soon; never waits."""
        self._remarks.append((self.clock.now_ns(), text))
        self.nudge()

    async def resume(self, past: Past) -> None:
        """Take up the trial that an earlier run left open, and the summaries that it left undone."""
        async with self._lock:
            self._since_ns = max(self._since_ns, past.last_end_ns)
            for trial in past.unfinished:
                if trial.end_ns is not None:
                    self.due(Ended(self.bench, trial.id, provisional=False))
            unended = [trial for trial in past.unfinished if trial.end_ns is None]
            if unended:
                LOG.info("going on with trial %s", unended[-1].id)
                await self._follow(unended[-1])
                self.nudge()

    async def run(self) -> None:
        """Follow the commits until cancelled."""
        loop, failed_s, again_s = asyncio.get_running_loop(), float("-inf"), AGAIN_S
        while True:
            await self._nudged.wait()
            self._nudged.clear()
            try:
                async with self._lock:
                    more = await self._turn()
            except (ApartError, StoreError) as error:
                # What was found and could not be kept is found again; readings are stored by others meanwhile.
                self._report(f"{error}; the record is followed anew")
                self._watching = False
                now_s = loop.time()
                again_s = min(2.0 * again_s, LONGEST_AGAIN_S) if now_s - failed_s < LASTED_S else AGAIN_S
                failed_s = now_s
                await asyncio.sleep(again_s)
                more = True
            else:
                self._report("")
            if more:
                self.nudge()
            await asyncio.sleep(CATCH_UP_S)

    def _report(self, trouble: str) -> None:
        """Log and show what is wrong, once."""
        if trouble != self._trouble:
            self._trouble = trouble
            self.board.report("trials", trouble)
            if trouble:
                LOG.error("%s", trouble)

    async def catch_up(self) -> None:
        """Follow everything that is stored by now."""
        async with self._lock:
            while await self._turn():
                pass

    # What a person asks for

    async def arm(self, plan_text: str, label: str | None) -> str:
        """Open a trial now, or give the running one its plan; return its id.

        Raises:
            RequestError: The plan has problems, no reading has come yet, or the running trial has a plan.
        """
        plan_text = labelled_plan(plan_text, label)
        # The moment that counts is that of the request, however long what is under way takes.
        fitted, asked_ns = self._fitted, self._newest_ns
        if self._open is None and (fitted is None or asked_ns is None):
            raise RequestError("no reading has come yet: see that the device is connected, then arm again")
        async with self._lock:
            if self._open is not None:
                return await self._give_plan(self._open, plan_text)
            if fitted is None or asked_ns is None:
                raise RequestError("the trial that was running has just ended: arm again")
            history_ns = max(self._since_ns, asked_ns - ARMED_HISTORY_S * SECOND_NS)
            opened = await self._begin(fitted, history_ns, plan_text)
            self.nudge()
            return opened.trial.id

    async def note(self, text: str) -> None:
        """Keep a remark, as an event of the running trial where there is one."""
        async with self._lock:
            await self._keep_note(self.clock.now_ns(), text)
            if self._open is not None:
                await self._announce(self._open, self._open.notes)

    async def end(self) -> str:
        """End the running trial with its newest reading and return its id.

        Raises:
            RequestError: None is running.
        """
        async with self._lock:
            while await self._turn():
                pass
            if self._open is None:
                raise RequestError("no trial is running: `emberline arm` opens one, and so does a fire that is lit")
            opened = self._open
            # Of the store, not of this run: the daemon may have been started again since the device went.
            newest_ns = await asyncio.to_thread(self.store.newest_ns, self.bench)
            await self._finish(opened, newest_ns or opened.trial.start_ns)
            return opened.trial.id

    # What a person changes of a trial

    @asynccontextmanager
    async def held(self) -> AsyncIterator[None]:
        """Keep trials as they are meanwhile: none begins, ends or is given a plan."""
        async with self._lock:
            yield

    async def corrected(self, trial: str, why: str) -> bool:
        """Take up and announce what a person has just changed of a trial; call it within `held`.

        Args:
            trial: Id of the trial.
            why: Why an event that was shown is not any more.

        Returns:
            Whether it is the running trial.
        """
        opened = self._open
        if opened is None or opened.trial.id != trial:
            return False
        plan_text = opened.trial.plan_text
        now_s = (self.clock.now_ns() - opened.trial.start_ns) / 1e9
        changed = await asyncio.to_thread(self.store.trial, trial)
        log = await asyncio.to_thread(self.store.corrections, trial)
        for one in opened.correct(changed, log, why, now_s):
            self.board.say(event_document(self.bench, trial, one))
        if opened.trial.plan_text != plan_text:
            self._watching = False
        if any(event.kind is EventKind.FLAMEOUT for event in opened.shown()):
            self.due(Ended(self.bench, trial, provisional=True))
        self.nudge()
        return True

    # Turns

    async def _turn(self) -> bool:
        """Follow some commits and do what follows; return whether more wait."""
        while self._remarks:
            await self._keep_note(*self._remarks[0])
            del self._remarks[0]
        if not self._watching and not await self._watch():
            return False
        try:
            turn = await self.follower.turn()
        except BegunAnewError:
            self._watching = False
            return True
        if turn.alarms is not None:
            self.board.alarms.found(turn.alarms)
        if self._open is None:
            if turn.begin_ns is not None and self._fitted is not None:
                await self._begin(self._fitted, max(self._since_ns, turn.begin_ns), "")
                return True
            return turn.more
        opened = self._open
        opened.announced, opened.retracted = turn.announced, turn.retracted
        await self._announce(opened, [*opened.notes, *turn.said])
        start_ns, phase = opened.trial.start_ns, opened.phase(turn.phase)
        self.board.follow(TrialNow(opened.trial.id, opened.label, start_ns, turn.t_s, phase, turn.estimates))
        if (end_ns := opened.end_ns(turn.end_ns, turn.t_s)) is not None:
            await self._finish(opened, end_ns)
            return True
        return turn.more

    async def _watch(self) -> bool:
        """Have the open trial followed, or the next fire looked out for; return whether there is anything to follow."""
        if self._open is not None:
            opened, trial = self._open, self._open.trial
            said = tuple(event for event in opened.announced if event.announced_t_s is not None)
            await self.follower.begin(Watch(self.bench, trial.bench_text, trial.start_ns, trial.plan_text, said))
        elif self._fitted is not None:
            newest_ns = self._newest_ns or self.clock.now_ns()
            start_ns = max(self._since_ns, newest_ns - LOOKOUT_S * SECOND_NS)
            await self.follower.begin(Watch(self.bench, self._bench_text(self._fitted), start_ns))
        else:
            return False
        self._watching = True
        return True

    # Trials

    async def _begin(self, fitted: Bench, start_ns: int, plan_text: str) -> OpenTrial:
        """Enter a trial and follow it from the first sample at or after `start_ns`."""
        label, bench = parse_plan(plan_text).label, self._bench_text(fitted)

        def entered() -> Trial:
            return self.store.create_trial(
                bench=self.bench,
                start_ns=first_sample_ns(self.store, self.bench, start_ns),
                zone=self.zone,
                label=label,
                bench_text=bench,
                plan_text=plan_text,
            )

        trial = await asyncio.to_thread(entered)
        LOG.info("trial %s of bench %s is open", trial.id, self.bench)
        # Nothing was said of it yet, so nothing is looked for: many may begin at the same moment.
        return await self._take_up(OpenTrial.of(trial, (), (), ()))

    def _bench_text(self, fitted: Bench) -> str:
        return bench_text(replace(fitted, id=self.bench))

    async def _follow(self, trial: Trial) -> OpenTrial:
        """Take up a trial: show what was announced of it, and have its record followed from the first commit."""
        saved = await asyncio.to_thread(self.store.events, trial.id)
        retracted = await asyncio.to_thread(self.store.retractions, trial.id)
        log = await asyncio.to_thread(self.store.corrections, trial.id)
        return await self._take_up(OpenTrial.of(trial, saved, retracted, log))

    async def _take_up(self, opened: OpenTrial) -> OpenTrial:
        trial = opened.trial
        self._open, self._watching = opened, False
        gaps = await asyncio.to_thread(self.store.gaps, self.bench, trial.start_ns + SECOND_NS)
        self.board.lost = sum(gap.next_seq - gap.first_seq for gap in gaps)
        self.board.fitted = self.board.fitted or parse_bench(trial.bench_text)
        self.board.trial = TrialNow(trial.id, opened.label, trial.start_ns)
        for one in opened.told():
            self.board.say(event_document(self.bench, trial.id, one))
        return opened

    async def _give_plan(self, opened: OpenTrial, plan_text: str) -> str:
        if opened.trial.plan_text:
            raise RequestError(f"trial {opened.trial.id} runs and has its plan: end it first (`emberline end`)")
        await asyncio.to_thread(self.store.save_plan, opened.trial.id, plan_text)
        opened.trial = await asyncio.to_thread(self.store.trial, opened.trial.id)
        opened.label = parse_plan(plan_text).label
        self._watching = False
        self.nudge()
        return opened.trial.id

    async def _finish(self, opened: OpenTrial, end_ns: int) -> None:
        """End a trial, and look out for the next fire."""
        trial = opened.trial
        await self._save(opened)
        end_ns = max(end_ns, trial.start_ns)
        await asyncio.to_thread(self.store.end_trial, trial.id, end_ns)
        LOG.info("trial %s has ended", trial.id)
        self._open, self._watching, self._since_ns = None, False, end_ns + 1
        self.board.trial = None
        self.board.lost = 0
        self.board.touch()
        self.due(Ended(self.bench, trial.id, provisional=False))

    async def _keep_note(self, now_ns: int, text: str) -> None:
        """Keep a remark, to be announced with what is found next."""
        trial = None if self._open is None else self._open.trial.id
        await asyncio.to_thread(self.store.add_note, self.bench, Note(now_ns, text, trial))
        if self._open is not None:
            t_s = (now_ns - self._open.trial.start_ns) / 1e9
            event = Event(EventKind.NOTE, t_s, 1.0, text, announced_t_s=t_s, by_person=True)
            self._open.notes.append(event)

    async def _announce(self, opened: OpenTrial, said: Sequence[Event | Retraction]) -> None:
        """Save what was found and is not known yet, then show it."""
        said = opened.unknown(said)
        if not said:
            return
        await self._save(opened)
        for one in said:
            opened.known.add(key(one))
            LOG.info("trial %s: %s%s", opened.trial.id, one.kind.value, how(one))
        for one in opened.to_be_told(said):
            self.board.say(event_document(self.bench, opened.trial.id, one))
        if any(isinstance(one, Event) and one.kind is EventKind.FLAMEOUT for one in said):
            # A revised one too: the provisional summary rests on it.
            self.due(Ended(self.bench, opened.trial.id, provisional=True))

    async def _save(self, opened: OpenTrial) -> None:
        events = sorted((*opened.announced, *opened.notes), key=lambda event: event.t_s)
        await asyncio.to_thread(self.store.save_events, opened.trial.id, events, opened.retracted)


def first_sample_ns(store: StoreReader, bench: str, start_ns: int) -> int:
    """Return the time of the first stored sample at or after a moment; the moment where there is none."""
    first = islice(store.commits(bench, start_ns), FIRST_COMMITS)
    return min((int(batch.t_ns[0]) for commit in first for batch in commit.batches), default=start_ns)
