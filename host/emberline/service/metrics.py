"""Figures of a running daemon for a monitoring server, in the Prometheus text format.

Gathered when they are asked for, from what the daemon counts anyway.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from prometheus_client import CollectorRegistry, ProcessCollector, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric, StateSetMetricFamily
from prometheus_client.exposition import CONTENT_TYPE_LATEST

from emberline.service.bench_health import BenchHealth
from emberline.service.health import Health
from emberline.trials.live_document import Recording

CONTENT_TYPE = CONTENT_TYPE_LATEST

Family = TypeVar("Family", GaugeMetricFamily, CounterMetricFamily)


@dataclass(frozen=True, slots=True)
class BenchFigures:
    """What is told of one bench beside its health.

    Attributes:
        held: Samples that wait for the store.
        discarded: Pieces that arrived and could not be read.
        commits: Commits since the daemon began.
    """

    held: int
    discarded: int
    commits: int


@dataclass(frozen=True, slots=True)
class Figures:
    """What is told.

    Attributes:
        health: How the recording stands.
        version: Version of the software.
        benches: Further figures, by bench.
        commit_s: Duration of a commit, 99 of 100 are shorter; seconds, 0 before the first.
        lag_s: Longest time for which the event loop was held up, seconds.
        tasks: Tasks of the daemon that run.
    """

    health: Health
    version: str
    benches: Mapping[str, BenchFigures]
    commit_s: float
    lag_s: float
    tasks: int


class Metrics:
    """Gathers the figures."""

    def __init__(self, figures: Callable[[], Figures]) -> None:
        """Ask `figures` whenever they are wanted."""
        self._figures = figures
        # A registry of its own: the package's common one would outlive the daemon, and hold it twice after a restart.
        self._registry = CollectorRegistry(auto_describe=False)
        self._registry.register(self)
        ProcessCollector(registry=self._registry)

    def text(self) -> bytes:
        """Return all figures."""
        return generate_latest(self._registry)

    def collect(self) -> Iterator[Metric]:
        """Yield the families of figures; prometheus_client asks for them."""
        figures = self._figures()
        health, disk = figures.health, figures.health.disk
        yield from _bench_families([(one, figures.benches[one.bench]) for one in health.benches])
        yield _gauge("commit_p99_seconds", "99 of 100 of the newest commits were shorter.", figures.commit_s)
        yield _gauge("loop_lag_worst_seconds", "Longest time for which the event loop was held up.", figures.lag_s)
        yield _gauge("tasks", "Tasks of the daemon that run.", figures.tasks)
        yield _gauge("warnings", "Things that a person should see to.", len(health.warnings))
        yield _gauge("store_bytes", "Size of the store.", disk.store_bytes)
        yield _gauge("journal_bytes", "Size of its journal.", disk.journal_bytes)
        if disk.free_bytes is not None:
            yield _gauge("disk_free_bytes", "Room left on its disk.", disk.free_bytes)
        about = GaugeMetricFamily("emberline_software", "The software that runs.", labels=["version"])
        about.add_metric([figures.version], 1.0)
        yield about


def _bench_families(benches: Sequence[tuple[BenchHealth, BenchFigures]]) -> Iterator[Metric]:
    """Yield the families that have a figure for each bench."""
    state = StateSetMetricFamily("emberline_recording", "Whether readings reach the disk.", labels=["bench"])
    for health, _ in benches:
        state.add_metric([health.bench], {one.value: one is health.recording for one in Recording})
    yield state

    def filled(family: Family, value: Callable[[BenchHealth, BenchFigures], float]) -> Family:
        for health, figures in benches:
            family.add_metric([health.bench], value(health, figures))
        return family

    def gauge(name: str, words: str) -> GaugeMetricFamily:
        return GaugeMetricFamily(f"emberline_{name}", words, labels=["bench"])

    def counter(name: str, words: str) -> CounterMetricFamily:
        return CounterMetricFamily(f"emberline_{name}", words, labels=["bench"])

    began = gauge("recording_since_seconds", "When that state began, Unix time.")
    yield filled(began, lambda health, _: health.since_ns * 1e-9)
    last = gauge("last_commit_seconds", "Time of the last commit, Unix time; 0 before the first.")
    yield filled(last, lambda health, _: (health.last_commit_ns or 0) * 1e-9)
    yield filled(counter("samples_stored", "Samples stored."), lambda health, _: health.committed)
    yield filled(counter("samples_repeated", "Samples that were stored before."), lambda health, _: health.repeated)
    yield filled(counter("samples_lost", "Samples flagged lost."), lambda health, _: health.lost)
    yield filled(gauge("samples_held", "Samples that wait for the store."), lambda _, figures: figures.held)
    yield filled(counter("commits", "Commits."), lambda _, figures: figures.commits)
    unread = counter("pieces_discarded", "Frames and bytes that could not be read.")
    yield filled(unread, lambda _, figures: figures.discarded)
    yield filled(gauge("trial_open", "Whether a trial is open."), lambda health, _: float(health.trial is not None))


def _gauge(name: str, words: str, value: float) -> GaugeMetricFamily:
    return GaugeMetricFamily(f"emberline_{name}", words, value=value)
