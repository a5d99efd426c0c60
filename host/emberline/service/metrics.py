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
from emberline.service.delivery.courier import Courier
from emberline.service.forwarding.forwarder import Forwarder
from emberline.service.health import Health
from emberline.trials.alarms import AlarmKind
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
        alarms: The kinds of the alarms whose cause lasts.
        unseen: Alarms that nobody has acknowledged.
        raised: Alarms raised since the daemon began.
    """

    held: int
    discarded: int
    commits: int
    alarms: frozenset[AlarmKind] = frozenset()
    unseen: int = 0
    raised: int = 0


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
        forwarding: What forwards to a time-series server; None where nothing does.
        couriers: What delivers alarms, one for each way.
    """

    health: Health
    version: str
    benches: Mapping[str, BenchFigures]
    commit_s: float
    lag_s: float
    tasks: int
    forwarding: Forwarder | None = None
    couriers: Sequence[Courier] = ()


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
        yield from _courier_families(figures.couriers)
        if figures.forwarding is not None:
            yield from _forwarding_families(figures.forwarding, health.now_ns)
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
    unread = counter("pieces_discarded", "Frames, bytes and lines of text that could not be read.")
    yield filled(unread, lambda _, figures: figures.discarded)
    standing = GaugeMetricFamily("emberline_alarm", "Whether the cause of an alarm lasts.", labels=["bench", "kind"])
    for health, figures in benches:
        for kind in AlarmKind:
            standing.add_metric([health.bench, kind.value], float(kind in figures.alarms))
    yield standing
    yield filled(gauge("alarms_unseen", "Alarms that nobody has acknowledged."), lambda _, figures: figures.unseen)
    yield filled(counter("alarms_raised", "Alarms raised."), lambda _, figures: figures.raised)
    yield filled(gauge("trial_open", "Whether a trial is open."), lambda health, _: float(health.trial is not None))


def _courier_families(couriers: Sequence[Courier]) -> Iterator[Metric]:
    """Yield the figures of the delivery of alarms, by way."""
    delivered = CounterMetricFamily("emberline_alarm_messages", "Messages delivered.", labels=["way"])
    failed = CounterMetricFamily("emberline_alarm_failures", "Attempts to deliver that failed.", labels=["way"])
    for courier in couriers:
        delivered.add_metric([courier.way.name], courier.delivered)
        failed.add_metric([courier.way.name], courier.failed)
    yield from (delivered, failed) if couriers else ()


def _forwarding_families(forwarder: Forwarder, now_ns: int) -> Iterator[Metric]:
    """Yield the figures of the forwarding to a time-series server."""
    age_s = 0.0 if forwarder.oldest_ns is None else max(0.0, (now_ns - forwarder.oldest_ns) * 1e-9)
    yield _gauge("forwarding_waiting_commits", "Commits that the server has not taken yet.", forwarder.behind)
    yield _gauge("forwarding_oldest_waiting_seconds", "Age of the oldest reading among them; 0 without one.", age_s)
    failed_s = (forwarder.failed_ns or 0) * 1e-9
    yield _gauge("forwarding_last_failure_seconds", "Last time that it took nothing, Unix time; 0 if never.", failed_s)
    counts = {
        "rows": ("Rows that it has taken.", forwarder.taken),
        "rows_refused": ("Rows that it refused for good.", forwarder.refused),
        "failures": ("Times that it took nothing.", forwarder.failures),
    }
    for name, (words, value) in counts.items():
        yield CounterMetricFamily(f"emberline_forwarding_{name}", words, value=value)


def _gauge(name: str, words: str, value: float) -> GaugeMetricFamily:
    return GaugeMetricFamily(f"emberline_{name}", words, value=value)
