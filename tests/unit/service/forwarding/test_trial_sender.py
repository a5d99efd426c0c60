import json
from collections.abc import Iterator
from pathlib import Path

import pytest

from emberline.curves.events import Event, EventKind
from emberline.service.forwarding.trial_sender import TrialSender
from emberline.store.store import Store

SERVER = "http://127.0.0.1:1  emberline"
START_NS = 1_764_072_000 * 10**9


class AwayError(Exception):
    """The server took nothing more."""


class Server:
    """Takes lines until it goes away."""

    def __init__(self, most: int | None = None) -> None:
        self.lines: list[str] = []
        self.most = most

    def send(self, rows: Iterator[str]) -> None:
        for row in rows:
            if self.most is not None and len(self.lines) >= self.most:
                raise AwayError
            self.lines.append(row)

    def standing(self) -> list[str]:
        """Return the lines that hold, by whatever of two equal rows came last."""
        last: dict[tuple[str, str], str] = {}
        for line in self.lines:
            named, fields, t_ns = line.rsplit(" ", 2)
            last[named, t_ns] = fields
        return sorted(named for (named, _), fields in last.items() if "replaced=1i" not in fields)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "s", lambda: START_NS) as opened:
        opened.advance_outbox(SERVER, 0)
        yield opened


def summed(store: Store, trial: str, lit_s: float, burn_time_s: float) -> None:
    store.save_events(trial, [Event(EventKind.LIT, lit_s, 0.5, "lit")])
    results = {"burn_time": {"value": burn_time_s, "u": 2.0, "unit": "s", "interval_95": None}}
    store.save_summary(trial, json.dumps({"results": results}), "0.1.0")


def burnt(store: Store, lit_s: float = 12.5) -> str:
    trial = store.create_trial(bench="yard", start_ns=START_NS).id
    summed(store, trial, lit_s, 700.0)
    return trial


def revisions(server: Server) -> list[int]:
    return sorted({int(line.split("revision=")[1].split(",")[0]) for line in server.standing()})


def test_what_has_not_changed_is_not_sent_again(store: Store) -> None:
    burnt(store)
    server, sender = Server(), TrialSender(store, SERVER)
    sender.send_changed(server.send)
    assert len(server.lines) == 2
    sender.send_changed(server.send)
    TrialSender(store, SERVER).send_changed(server.send)
    assert len(server.lines) == 2


def test_of_a_corrected_trial_only_the_newest_rows_hold(store: Store) -> None:
    trial = burnt(store)
    server, sender = Server(), TrialSender(store, SERVER)
    sender.send_changed(server.send)
    summed(store, trial, 10.0, 690.0)
    sender.send_changed(server.send)
    assert revisions(server) == [2]
    assert len(server.standing()) == 2
    # Back to what it was first: a revision of its own, since a row that was called back stays so.
    summed(store, trial, 12.5, 700.0)
    sender.send_changed(server.send)
    assert revisions(server) == [3]
    assert len(store.forwarded(SERVER, trial)) == 1


def test_a_summary_that_is_written_anew_and_says_the_same_makes_no_revision(store: Store) -> None:
    trial = burnt(store)
    server, sender = Server(), TrialSender(store, SERVER)
    sender.send_changed(server.send)
    summed(store, trial, 12.5, 700.0)
    sender.send_changed(server.send)
    assert revisions(server) == [1]
    assert store.changed_summaries(SERVER) == []


@pytest.mark.parametrize("most", range(6))
def test_wherever_the_server_goes_away_only_the_newest_rows_hold_in_the_end(store: Store, most: int) -> None:
    """It goes away within the sending of a correction; meanwhile a second one is made."""
    trial = burnt(store)
    server, sender = Server(), TrialSender(store, SERVER)
    sender.send_changed(server.send)
    summed(store, trial, 10.0, 690.0)
    server.most = 2 + most
    if most < 4:
        with pytest.raises(AwayError):
            sender.send_changed(server.send)
    else:
        sender.send_changed(server.send)
    summed(store, trial, 11.0, 680.0)
    server.most = None
    TrialSender(store, SERVER).send_changed(server.send)
    assert len(server.standing()) == 2
    assert revisions(server) == [3]


def test_another_server_is_sent_everything_from_its_beginning(store: Store) -> None:
    for k in range(25):
        burnt(store, 10.0 + k)
    sender, server = TrialSender(store, SERVER), Server()
    sender.send_changed(server.send)
    sender.send_changed(server.send)
    assert len(server.lines) == 50
    store.advance_outbox("another", 0)
    other = Server()
    TrialSender(store, "another").send_changed(other.send)
    assert len(other.lines) == 40
