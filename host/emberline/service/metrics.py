"""Figures of a running daemon for a monitoring server, in the Prometheus text format.

Gathered when they are asked for, from what the daemon counts anyway.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from prometheus_client import CollectorRegistry, ProcessCollector, generate_latest
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily, Metric, StateSetMetricFamily
from prometheus_client.exposition import CONTENT_TYPE_LATEST

from emberline.service.health import Health
from emberline.trials.live_document import Recording

CONTENT_TYPE = CONTENT_TYPE_LATEST


@dataclass(frozen=True, slots=True)
class Figures:
    """What is told.

    Attributes:
        health: How the recording stands.
        version: Version of the software.
        held: Samples that wait for the store.
        discarded: Pieces that arrived and could not be read.
        commits: Commits since the daemon began.
        commit_s: Duration of a commit, 99 of 100 are shorter; seconds, 0 before the first.
        lag_s: Longest time for which the event loop was held up, seconds.
        tasks: Tasks of the daemon that run.
    """

    health: Health
    version: str
    held: int
    discarded: int
    commits: int
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
        health = figures.health
        labels, values = ["bench"], [health.bench]

        def gauge(name: str, words: str, value: float) -> GaugeMetricFamily:
            family = GaugeMetricFamily(f"emberline_{name}", words, labels=labels)
            family.add_metric(values, value)
            return family

        def counter(name: str, words: str, value: float) -> CounterMetricFamily:
            family = CounterMetricFamily(f"emberline_{name}", words, labels=labels)
            family.add_metric(values, value)
            return family

        state = StateSetMetricFamily("emberline_recording", "Whether readings reach the disk.", labels=labels)
        state.add_metric(values, {one.value: one is health.recording for one in Recording})
        yield state
        yield gauge("recording_since_seconds", "When that state began, Unix time.", health.since_ns * 1e-9)
        last_s = 0.0 if health.last_commit_ns is None else health.last_commit_ns * 1e-9
        yield gauge("last_commit_seconds", "Time of the last commit, Unix time; 0 before the first.", last_s)
        yield counter("samples_stored", "Samples stored.", health.committed)
        yield counter("samples_repeated", "Samples that were stored before.", health.repeated)
        yield counter("samples_lost", "Samples flagged lost.", health.lost)
        yield gauge("samples_held", "Samples that wait for the store.", figures.held)
        yield counter("commits", "Commits.", figures.commits)
        yield gauge("commit_p99_seconds", "99 of 100 of the newest commits were shorter.", figures.commit_s)
        yield counter("pieces_discarded", "Frames and bytes that could not be read.", figures.discarded)
        yield gauge("loop_lag_worst_seconds", "Longest time for which the event loop was held up.", figures.lag_s)
        yield gauge("tasks", "Tasks of the daemon that run.", figures.tasks)
        yield gauge("trial_open", "Whether a trial is open.", float(health.trial is not None))
        yield gauge("warnings", "Things that a person should see to.", len(health.warnings))
        yield gauge("store_bytes", "Size of the store.", health.disk.store_bytes)
        yield gauge("journal_bytes", "Size of its journal.", health.disk.journal_bytes)
        if health.disk.free_bytes is not None:
            yield gauge("disk_free_bytes", "Room left on its disk.", health.disk.free_bytes)
        about = GaugeMetricFamily("emberline_software", "The software that runs.", labels=["bench", "version"])
        about.add_metric([health.bench, figures.version], 1.0)
        yield about
