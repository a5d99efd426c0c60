"""Following a bench through what its store has committed: the part of a trial's keeping that takes computing time.

It reads commits in their order and nothing else, so that a replay of the same commits finds the same.
"""

import time
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from emberline.bench.bench_file import Bench, parse_bench
from emberline.bench.channels import Channel, Role
from emberline.bench.plan import empty_plan, parse_plan
from emberline.bench.samples import SampleBatch
from emberline.curves.events import Event, EventKind, Retraction
from emberline.service.heaps import give_back, look_as_often_as_suits
from emberline.service.watch import FIRST_COMMITS, LOOKOUT_S, SECOND_NS, Changes, FoundAlarms, Turn, Watch, changes
from emberline.store.blocks import Commit
from emberline.store.fresh import Fresh, Place
from emberline.store.reader import StoreReader
from emberline.trials.live import LiveTrial
from emberline.trials.tracker import same_event

MOST_COMMITS = 256
"""Commits of all benches that are taken in at a time, some 0.2 s, before what was found is handed over."""
GIVE_BACK_EVERY_S = 10.0
"""Real seconds; looking for what a thousand benches have let go of takes tens of milliseconds."""
HISTORY_S = 300
"""Seconds before `lit` that belong to a trial which nobody armed."""
LONGEST_TRIAL_S = 12 * 3_600
NEW_FUEL_G = 10.0
"""Least addition after flameout that may be a new batch."""
SETTLE_S = 12


class Followings:
    """Follows several benches, each through a record of its own."""

    def __init__(self, store: Path) -> None:
        """Read from the store at a path."""
        self._store = StoreReader(store)
        self._by_bench: dict[str, Following] = {}
        self._given_back_s = float("-inf")

    def turns(self, watches: Sequence[Watch], benches: Sequence[str]) -> dict[str, Changes | str]:
        """Take in some of what benches have stored since their last turns.

        Args:
            watches: Records to follow from now on, in place of those that were followed.
            benches: Ids of the benches, those of the watches among them.

        Returns:
            What each turn found that is new since the last one, or why it failed; those of the benches that come late
            may be missing.

        Raises:
            StoreError: The store cannot be read.
        """
        failed = {watch.bench: why for watch in watches if (why := self._begin(watch))}
        if watches:
            look_as_often_as_suits(len(self._by_bench))
            self._give_back()
        places = [self._by_bench[bench].place for bench in benches if bench not in failed]
        fresh = self._store.fresh(places, MOST_COMMITS)
        found = {bench: self._turn(self._by_bench[bench], stored) for bench, stored in fresh.items()}
        # One a turn: benches that were begun together would else all go through their last minutes again at once.
        overlong = next((one for bench in fresh if (one := self._by_bench[bench]).overlong), None)
        if overlong is not None:
            overlong.let_go()
            self._give_back()
        return failed | found

    def _begin(self, watch: Watch) -> str:
        """Begin to follow a record; say what fails."""
        try:
            self._by_bench.setdefault(watch.bench, Following()).begin(watch)
        except Exception as error:  # noqa: BLE001 handed to the bench's keeper, whatever it is; others go on
            return _words(error)
        return ""

    def _give_back(self) -> None:
        """Give back the memory of a record that was let go, but not for each of many at a time."""
        now_s = time.monotonic()
        if now_s - self._given_back_s > GIVE_BACK_EVERY_S:
            self._given_back_s = now_s
            give_back()

    @staticmethod
    def _turn(following: "Following", stored: Fresh) -> Changes | str:
        before = following.last
        try:
            return changes(following.turn(stored), before)
        except Exception as error:  # noqa: BLE001 handed to the bench's keeper, whatever it is; others go on
            return _words(error)


class Following:
    """Follows one record after the other of a bench.

    Attributes:
        last: What its last turn found; None before the first since `begin`.
    """

    def __init__(self) -> None:
        """Follow nothing yet."""
        self.last: Turn | None = None
        self._watch: Watch | None = None
        self._said: list[Event | Retraction] = []
        self._untold: list[Event | Retraction] = []

    def begin(self, watch: Watch) -> None:
        """Follow a record from its first commit.

        A trial that begins where its fire was looked out for is that very record, and is not gone through again: what
        was said of it is said at the next turn.
        """
        self.last = None
        if self._watch == replace(watch, plan_text=None) and watch.plan_text == "":
            self._watch, self._untold, self._caught_up = watch, self._said, False
        else:
            self._take_up(watch)

    def _take_up(self, watch: Watch) -> None:
        bench = parse_bench(watch.bench_text)
        self._watch, self._after = watch, 0
        self._channels = _by_role(bench)
        self._char_s = bench.trial.end_after_flameout_s
        plan = parse_plan(watch.plan_text) if watch.plan_text else empty_plan()
        self._live = LiveTrial(self._channels, plan, watch.start_ns, self._char_s, bench.alarms)
        self._next_fire: LiveTrial | None = None
        self._caught_up = False
        self._said, self._untold = [], []

    def _from_first(self, watch: Watch, commits: Sequence[Commit]) -> Watch:
        """Look out for a fire from the first sample on, where its trial may begin, and through no empty minutes."""
        parts = [_from(batch, watch.start_ns) for commit in commits for batch in commit.batches]
        first_ns = min((int(part.t_ns[0]) for part in parts if part is not None), default=watch.start_ns)
        self._take_up(replace(watch, start_ns=first_ns))
        return self._watching()

    @property
    def place(self) -> Place:
        """How far the record has been read.

        Raises:
            RuntimeError: `begin` was not called.
        """
        watch = self._watching()
        return Place(watch.bench, watch.start_ns, self._after)

    def turn(self, stored: Fresh) -> Turn:
        """Take in commits until something is to be said or none are left.

        Args:
            stored: What has been stored since `place`.

        Raises:
            RuntimeError: `begin` was not called.
        """
        watch = self._watching()
        if watch.plan_text is None and self._after == 0 and stored.commits:
            watch = self._from_first(watch, stored.commits[:FIRST_COMMITS])
        said, self._untold = self._untold, []
        more = self._feed(watch, stored, said)
        if watch.plan_text is None:
            self._said += said
        live, first = self._live, not self._caught_up
        self._caught_up = self._caught_up or not more
        alarms = FoundAlarms(live.start_ns, live.alarms, first) if self._caught_up else None
        self._keep_announced_times(watch)
        self.last = Turn(
            tuple(said),
            tuple(live.tracked.announced),
            tuple(live.tracked.retracted),
            more,
            float(live.now_s),
            live.phase,
            live.estimates,
            alarms,
            self._begin_ns(watch),
            self._end_ns(watch),
        )
        return self.last

    def _watching(self) -> Watch:
        if self._watch is None:
            raise RuntimeError("nothing to follow yet")
        return self._watch

    def _feed(self, watch: Watch, stored: Fresh, said: list[Event | Retraction]) -> bool:
        """Take in commits; tell whether more wait."""
        for commit in stored.commits:
            self._after = commit.id
            batches = [part for batch in commit.batches if (part := _from(batch, watch.start_ns)) is not None]
            said += self._live.take(batches)
            if watch.plan_text is not None:
                self._watch_new_fuel(watch, batches)
            if said:
                return True
        return stored.more

    @property
    def overlong(self) -> bool:
        """Whether the record has parts that are too old to matter: no trial is open, and none begins."""
        watch = self._watching()
        return watch.plan_text is None and self._live.now_s > LOOKOUT_S and self._live.event(EventKind.LIT) is None

    def let_go(self) -> None:
        """Let go of what is too old to matter, and follow the rest anew."""
        watch = self._watching()
        self._take_up(replace(watch, start_ns=watch.start_ns + (self._live.now_s - HISTORY_S - 60) * SECOND_NS))

    def _begin_ns(self, watch: Watch) -> int | None:
        """Return where a trial begins once `lit` was seen, as far as there are samples."""
        lit = self._live.event(EventKind.LIT) if watch.plan_text is None else None
        return None if lit is None else watch.start_ns + int((lit.t_s - HISTORY_S) * 1e9)

    def _keep_announced_times(self, watch: Watch) -> None:
        """Give events that were announced before a crash the time of that announcement."""
        announced = self._live.tracked.announced
        taken: set[int] = set()
        for old in watch.announced:
            index = same_event(old, announced, taken)
            if index is not None:
                taken.add(index)
                announced[index] = announced[index].announced(old.announced_t_s)

    def _watch_new_fuel(self, watch: Watch, batches: Sequence[SampleBatch]) -> None:
        """Watch for the fire of a new batch, once fuel was put on after flameout."""
        out = self._live.event(EventKind.FLAMEOUT)
        if out is None:
            self._next_fire = None
        elif self._next_fire is None:
            added = [
                event.t_s
                for event in self._live.tracked.announced
                if event.kind in (EventKind.REFUEL, EventKind.STEP)
                and event.size_g is not None
                and event.size_g.nominal_value > NEW_FUEL_G
                and event.t_s > out.t_s
            ]
            if added:
                start_ns = watch.start_ns + int((added[-1] + SETTLE_S) * 1e9)
                self._next_fire = LiveTrial(self._channels, empty_plan(), start_ns)
        else:
            since_ns = self._next_fire.start_ns
            self._next_fire.take([part for batch in batches if (part := _from(batch, since_ns)) is not None])

    def _end_ns(self, watch: Watch) -> int | None:
        if watch.plan_text is None:
            return None
        if self._next_fire is not None and self._next_fire.event(EventKind.LIT) is not None:
            return self._next_fire.start_ns - 2 * SETTLE_S * SECOND_NS
        out = self._live.event(EventKind.FLAMEOUT)
        if out is not None and self._live.now_s >= out.t_s + self._char_s:
            return watch.start_ns + int((out.t_s + self._char_s) * 1e9)
        if self._live.now_s >= LONGEST_TRIAL_S:
            return watch.start_ns + LONGEST_TRIAL_S * SECOND_NS
        return None


def _words(error: Exception) -> str:
    return f"{type(error).__name__}: {error}"


def _by_role(bench: Bench) -> dict[Role, Channel]:
    return {channel.role: channel for channel in bench.channels}


def _from(batch: SampleBatch, since_ns: int) -> SampleBatch | None:
    """Return the part of a batch from a moment on, None where it has none."""
    low = int(batch.t_ns.searchsorted(since_ns))
    if low == 0:
        return batch
    if low == len(batch):
        return None
    return replace(
        batch, first_seq=batch.first_seq + low, t_ns=batch.t_ns[low:], raw=batch.raw[low:], flags=batch.flags[low:]
    )
