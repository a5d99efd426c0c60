"""From links to the store: commit, then acknowledge, then publish. A full queue slows the source; nothing is lost.

One task empties the queues of all benches, so that a second of a thousand of them costs a few commits.
"""

import asyncio
import logging
import time
from collections import deque
from collections.abc import Callable, Sequence

from emberline.service.clock import Clock
from emberline.service.intake import Held, IngestCounts, Intake
from emberline.store.errors import StoreClosedError, StoreDamagedError, StoreError, StoreReplacedError
from emberline.store.records import CommitReceipt, Portion
from emberline.store.store import Store

LOG = logging.getLogger(__name__)

GATHER_S = 0.1
"""How long readings that follow the first one are waited for, so that those of many benches share a commit."""
TIMED_COMMITS = 1_000
"""Commits whose duration is remembered: some minutes."""
TAKES_NOTHING_MORE = (StoreClosedError, StoreDamagedError, StoreReplacedError)
"""How a store is done with; on other errors it is tried again."""


class Ingest:
    """What empties the queues of all benches into the store, together.

    Attributes:
        durations_s: How long the newest commits took, real seconds.
    """

    def __init__(self, store: Store, clock: Clock) -> None:
        """Store into a store; `run` does so."""
        self.durations_s: deque[float] = deque(maxlen=TIMED_COMMITS)
        self._store = store
        self._clock = clock
        self._waiting: dict[Intake, None] = {}
        self._some = asyncio.Event()
        self._trouble = ""
        self._ended = False

    def of(
        self,
        bench: str,
        counts: IngestCounts,
        publish: Callable[[CommitReceipt], None],
        told: Callable[[str], None] = lambda _: None,
    ) -> Intake:
        """Return the queue of a bench; the arguments are those of `Intake`."""
        return Intake(bench, counts, self._notice, publish, told)

    async def run(self) -> None:
        """Store what is handed in until cancelled; what fails of one bench is tried again, and keeps no other waiting.

        Raises:
            StoreClosedError: The store was closed.
            StoreDamagedError: It has turned out to be damaged, and nothing more can be appended.
            StoreReplacedError: Another file has taken its name.
        """
        while True:
            await self._some.wait()
            await self._clock.sleep(GATHER_S)
            self._some.clear()
            intakes, self._waiting = list(self._waiting), {}
            taken = [(intake, held) for intake in intakes if (held := intake.take())]
            try:
                results = await self._committed([intake.portion(held) for intake, held in taken])
            except TAKES_NOTHING_MORE:
                # The daemon begins anew on a sound file; what is held here was not acknowledged, and comes again.
                self._ended = True
                for intake in (*intakes, *self._waiting):
                    intake.give_up()
                raise
            except BaseException:
                # Whatever failed, nothing of it was acknowledged: it is stored by whoever runs this again.
                for intake, held in taken:
                    intake.put_back(held)
                raise
            self._settle(taken, results)

    def _notice(self, intake: Intake) -> None:
        if self._ended:
            intake.give_up()
        self._waiting[intake] = None
        self._some.set()

    async def _committed(self, portions: Sequence[Portion]) -> Sequence[CommitReceipt | Exception]:
        """Return the receipt of each portion, or why it has none."""
        began_s = time.monotonic()
        try:
            results = await asyncio.wrap_future(self._store.submit_commits(portions))
        except TAKES_NOTHING_MORE:
            raise
        except StoreError as error:
            if str(error) != self._trouble:
                LOG.error("nothing can be stored: %s", error)
            self._trouble = str(error)
            return [error] * len(portions)
        self.durations_s.append(time.monotonic() - began_s)
        if self._trouble:
            LOG.warning("readings are stored again")
        self._trouble = ""
        for result in results:
            if isinstance(result, TAKES_NOTHING_MORE):
                raise result
        return results

    def _settle(self, taken: Sequence[tuple[Intake, list[Held]]], results: Sequence[CommitReceipt | Exception]) -> None:
        """Acknowledge and publish what was stored; what fails of one bench keeps no other waiting.

        All of it is done before anything else has its turn. On a machine that is short of time a turn takes seconds,
        and the acknowledgements that keep devices from sending again would come turns later.
        """
        now_ns = self._clock.now_ns()
        for (intake, held), result in zip(taken, results, strict=True):
            try:
                if isinstance(result, Exception):
                    raise result
                intake.stored(held, result, now_ns)
            except Exception as error:  # noqa: BLE001 told with its bench, whatever it is
                intake.refused(held, error)
