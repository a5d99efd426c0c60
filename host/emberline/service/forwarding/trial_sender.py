"""Sends a trial's events and results, and says of those sent before which of them hold no more.

A correction moves an event, or changes a result, that a server has already. Nothing is deleted there, since not all
such servers can: every row carries the number of its revision, and `replaced` is 0 while that is the newest. Once a
newer one has been sent, the same rows go again with `replaced` 1. That number only grows, so a server which keeps the
last of two equal rows and one which keeps the greater value agree.
"""

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from emberline.service.forwarding.rows import event_rows, replaced_row, result_rows
from emberline.store.store import Store

Send = Callable[[Iterator[str]], None]


@dataclass(frozen=True)
class TrialSender:
    """Sends what has changed of trials to one server.

    Attributes:
        store: The store.
        server: What its outbox calls the server.
    """

    store: Store
    server: str

    def send_changed(self, send: Send) -> None:
        """Send some trials whose summaries were written since the last call that went well; `send` raises otherwise."""
        for change, trial in self.store.changed_summaries(self.server):
            earlier = self.store.forwarded(self.server, trial)
            newest = max(earlier, default=0)
            lines = self._lines(trial, newest)
            revision = newest
            if not newest or lines != earlier[newest]:
                # On the disk before the server may have them: whatever happens now, they can be called back.
                revision = newest + 1
                lines = self._lines(trial, revision)
                self.store.plan_forwarding(self.server, trial, revision, lines)
            send(iter(lines))
            send(replaced_row(line) for number, old in earlier.items() if number != revision for line in old)
            self.store.settle_forwarding(self.server, trial, revision, change)

    def _lines(self, trial: str, revision: int) -> list[str]:
        found, kept = self.store.trial(trial), self.store.summary(trial)
        if kept is None:
            return []
        rows = [*event_rows(found.bench, trial, revision, found.start_ns, self.store.events(trial))]
        rows += result_rows(found.bench, trial, revision, found.start_ns, json.loads(kept.document))
        return rows
