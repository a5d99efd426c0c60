"""Calibrations by people: a bench's findings are kept, hold at once, and older trials are read with them on demand."""

import asyncio
import logging
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Protocol

from emberline.bench.bench_file import Bench, parse_bench
from emberline.bench.findings import Finding, FindingKind, read_found, with_findings
from emberline.service.bench_fit import bench_text
from emberline.service.board import Board
from emberline.service.errors import RequestError
from emberline.service.keeper import Ended
from emberline.store.records import Trial
from emberline.store.store import Store

LOG = logging.getLogger(__name__)

LONGEST_NAME = 200


class CalibratedBench(Protocol):
    """What is calibrated: that of a lane."""

    @property
    def bench_id(self) -> str:
        """Its id."""

    @property
    def board(self) -> Board:
        """What is known of it now."""

    @property
    def described(self) -> Bench | None:
        """The bench by its file and its device alone; None before a device greeted."""

    def take_up(self, finding: Finding) -> None:
        """Have a finding hold from now on."""


class Calibrations:
    """Keeps what calibrations of a daemon's benches find."""

    def __init__(self, store: Store, due: Callable[[Ended], None]) -> None:
        """Prepare.

        Args:
            store: Where findings and trials are kept.
            due: Told when a summary is due.
        """
        self._store = store
        self._due = due

    def described(self, lane: CalibratedBench) -> str:
        """Return a bench as its file and its device alone describe it, as a bench file.

        Raises:
            RequestError: No device has greeted yet.
        """
        if lane.described is None:
            raise RequestError("no device has greeted yet: see that it is connected")
        return bench_text(replace(lane.described, id=lane.bench_id))

    async def keep(self, lane: CalibratedBench, request: Mapping[str, Any]) -> int:
        """Keep what a calibration found, have it hold at once, and return its number.

        Args:
            lane: The bench.
            request: Its `channel`, `kind`, `who` and what was `found`, as `findings.found_document` writes it.

        Raises:
            RequestError: The bench has no such channel, or a trial is open, in which nothing may change.
            CalibrationError: That is nothing that a calibration finds.
            StoreError: It cannot be kept.
        """
        bench, channel, who = lane.described, str(request["channel"]), str(request["who"]).strip()[:LONGEST_NAME]
        found = read_found(str(request["kind"]), request["found"])
        if bench is None or bench.by_name(channel) is None:
            raise RequestError(f"bench {lane.bench_id} has no channel {channel!r} now: is its device connected?")
        if lane.board.trial is not None and request["kind"] != FindingKind.CHECK:
            raise RequestError(f"trial {lane.board.trial.id} is open: end it first (`emberline end`)")
        finding = await asyncio.to_thread(self._store.add_finding, lane.bench_id, channel, found, who)
        lane.take_up(finding)
        LOG.info("bench %s, channel %s: %s calibration %d", lane.bench_id, channel, finding.kind.value, finding.number)
        return finding.number

    async def recalibrate(self, trial: str, who: str, *, as_recorded: bool) -> None:
        """Have a trial's record read with the newest calibrations, or with that of its time again.

        Raises:
            RequestError: There is none to read it with, or the trial is open.
            StoreError: It cannot be kept.
        """
        await asyncio.to_thread(recalibrate, self._store, trial, who, as_recorded=as_recorded)
        found = await asyncio.to_thread(self._store.trial, trial)
        self._due(Ended(found.bench, trial, provisional=False))


def recalibrate(store: Store, trial: str, who: str, *, as_recorded: bool) -> None:
    """Have a trial's record read with the newest calibrations, or as it was recorded; its summary is then out of date.

    Raises:
        RequestError: There is none to read it with, or the trial is open.
        StoreError: It cannot be kept.
    """
    found = store.trial(trial)
    if found.end_ns is None:
        raise RequestError(f"trial {trial} is open: end it first (`emberline end`)")
    text = None if as_recorded else text_with(found, store.findings(found.bench))
    store.recalibrate(trial, text, who.strip()[:LONGEST_NAME])


def text_with(trial: Trial, findings: Sequence[Finding]) -> str:
    """Return a trial's bench file with the newest findings of its bench.

    Raises:
        RequestError: There are none, or the trial's values came calibrated.
    """
    if trial.origin != "live" or not trial.bench_text:
        raise RequestError(
            f"trial {trial.id} was imported: its table holds grams and degrees, not the bench's counts, so none of the "
            "bench's calibrations applies to it; put the table right, and import it again"
        )
    before = parse_bench(trial.bench_text)
    after = with_findings(before, findings)
    if after == before:
        raise RequestError(
            f"trial {trial.id} was read with the newest calibration of bench {trial.bench} already: calibrate it first"
        )
    return bench_text(after)
