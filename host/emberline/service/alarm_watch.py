"""Watches over one bench for its alarms: how it stands now, the air, and the disk; and has alarms told again."""

import logging
from collections.abc import Callable, Sequence
from pathlib import Path

from emberline.bench.bench_file import Bench, parse_bench
from emberline.bench.channels import Role, default_channel
from emberline.service.apart import called_apart
from emberline.service.bench_fit import bench_text
from emberline.service.bench_health import BenchWatch
from emberline.service.board import Board
from emberline.service.errors import ApartError
from emberline.service.health import Disk
from emberline.store.reader import StoreReader
from emberline.trials.alarms import AlarmKind
from emberline.trials.alarms.alarm import Safe
from emberline.trials.alarms.bench_state import SensorFault, disk_low, no_readings
from emberline.trials.alarms.co_means import LONGEST_S, CoMeans
from emberline.trials.alarms.co_watch import CoWatch
from emberline.trials.live_document import Recording
from emberline.trials.live_readings import Readings, readings_of

LOG = logging.getLogger(__name__)

EVERY_S = 1.0
RECALL_LIMIT_S = 300.0
"""Longest reading of the last day's carbon monoxide, real seconds; a small board with a slow card needs a minute."""


class AlarmWatch:
    """Watches over one bench."""

    def __init__(self, board: Board, health: BenchWatch, disk: Callable[[], Disk], store: Path) -> None:
        """Prepare.

        Args:
            board: What is known of the bench.
            health: How its recording stands.
            disk: Tells the room on the store's disk.
            store: The store's file.
        """
        self._board = board
        self._health = health
        self._disk = disk
        self._store = store
        self._sensors = SensorFault()
        self._co: CoWatch | None = None
        board.readers.append(self.take)

    async def recall(self) -> None:
        """Read the carbon monoxide of the last day before the daemon began, once the bench is known to have a sensor.

        A mean over hours would else begin anew with each restart.
        """
        board, version = self._board, -1
        while board.fitted is None or board.first_commit is None:
            await board.changed(version, EVERY_S)
            version = board.version
        if board.fitted.by_role(Role.CO) is None:
            return
        since_ns = board.clock.now_ns() - LONGEST_S * 1_000_000_000
        try:
            earlier = await called_apart(
                co_before,
                self._store,
                board.bench,
                bench_text(board.fitted),
                since_ns,
                board.first_commit,
                name="reading the last day's carbon monoxide",
                limit_s=RECALL_LIMIT_S,
            )
        except ApartError as error:
            LOG.warning("%s: %s; its means begin now", board.bench, error)
            return
        self._watch(board.fitted).add(earlier)

    def take(self, readings: Sequence[Readings]) -> None:
        """Take in the readings of a commit."""
        for one in readings:
            if one.channel.role is Role.CO and self._board.fitted is not None:
                self._watch(self._board.fitted).take(one.t_ns, one.value)

    def look(self) -> None:
        """Look once, and have alarms told again; meant for once a second."""
        board, alarms, now_ns = self._board, self._board.alarms, self._board.clock.now_ns()
        if board.trial is not None:
            self._look_at_burn(now_ns)
        else:
            # Where nobody burns anything, a device may be unplugged.
            alarms.judged(AlarmKind.NO_READINGS, Safe())
            alarms.judged(AlarmKind.SENSOR_FAULT, self._sensors.look(now_ns * 1e-9, None))
        disk = self._disk()
        alarms.judged(AlarmKind.DISK_LOW, disk_low(disk.free_bytes, disk.total_bytes))
        if self._co is not None:
            board.co = self._co.look(now_ns)
            alarms.judged(AlarmKind.CO_HIGH, self._co.ceilings(board.co))
            alarms.judged(AlarmKind.CO_MEAN, self._co.means(board.co))
        alarms.remind()

    def _look_at_burn(self, now_ns: int) -> None:
        board, health = self._board, self._health.health()
        recorded = health.recording is not Recording.NOT_RECORDING
        since_s = (now_ns - health.since_ns) * 1e-9 - board.clock.slack_s
        board.alarms.judged(AlarmKind.NO_READINGS, no_readings(recorded, since_s, health.why))
        if recorded:
            # Where nothing is recorded at all, no single sensor is to blame.
            board.alarms.judged(AlarmKind.SENSOR_FAULT, self._sensors.look(now_ns * 1e-9, board.faults()))

    def _watch(self, bench: Bench) -> CoWatch:
        if self._co is None:
            channel = bench.by_role(Role.CO) or default_channel(Role.CO)
            self._co = CoWatch(channel, bench.alarms.co)
        return self._co


def co_before(store: Path, bench: str, text: str, since_ns: int, before: int) -> CoMeans:
    """Return the carbon monoxide of a bench from a moment to a commit; called in a process of its own.

    Args:
        store: The store's file.
        bench: Id of the bench.
        text: Its bench file, calibrations completed.
        since_ns: The moment, UTC nanoseconds.
        before: Id of the commit, which is not in it.

    Raises:
        StoreError: The store cannot be read.
    """
    means, fitted = CoMeans(), parse_bench(text)
    for commit in StoreReader(store).commits(bench, since_ns):
        if commit.id >= before:
            break
        for one in readings_of(fitted, commit.batches):
            if one.channel.role is Role.CO:
                means.take(one.t_ns, one.value)
    return means
