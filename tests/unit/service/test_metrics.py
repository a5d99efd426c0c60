from dataclasses import replace
from pathlib import Path

from prometheus_client.parser import text_string_to_metric_families

from emberline.service.bench_health import BenchHealth
from emberline.service.clock import Clock
from emberline.service.delivery.courier import Courier
from emberline.service.delivery.message import Message
from emberline.service.forwarding.forwarder import Forwarder
from emberline.service.forwarding.server_file import TimeSeriesServer
from emberline.service.health import Disk, Health, HealthWatch
from emberline.service.metrics import CONTENT_TYPE, BenchFigures, Figures, Metrics
from emberline.store.store import Store
from emberline.trials.alarms import AlarmKind
from emberline.trials.live_document import Recording

YARD = BenchHealth(
    bench='the "yard"',
    recording=Recording.WITH_GAPS,
    since_ns=1_500_000_000,
    why="7 samples were lost",
    link="streaming",
    last_commit_ns=1_750_000_000,
    trial="2025-11-25-1",
    committed=120,
    repeated=3,
    lost=7,
)
HEALTH = Health(2_000_000_000, (YARD,), warnings=("little room",), disk=Disk(10, 20, 30))
STANDING = frozenset({AlarmKind.LOAD_GONE, AlarmKind.CO_HIGH})
OWN = {YARD.bench: BenchFigures(held=5, discarded=2, commits=60, alarms=STANDING, unseen=1, raised=4)}
FIGURES = Figures(HEALTH, "0.1.0", OWN, commit_s=0.012, lag_s=0.03, tasks=8)


def parsed(metrics: Metrics) -> dict[str, float]:
    """Read the text with the parser of prometheus_client, which keeps to the exposition format."""
    families = text_string_to_metric_families(metrics.text().decode())
    return {
        " ".join([sample.name, *(v for k, v in sample.labels.items() if k != "bench")]): sample.value
        for family in families
        for sample in family.samples
    }


def test_a_monitoring_server_reads_what_is_counted() -> None:
    got = parsed(Metrics(lambda: FIGURES))
    own = {name.removeprefix("emberline_"): value for name, value in got.items() if name.startswith("emberline_")}
    assert own == {
        "recording recording": 0.0,
        "recording recording with gaps": 1.0,
        "recording not recording": 0.0,
        "recording_since_seconds": 1.5,
        "last_commit_seconds": 1.75,
        "samples_stored_total": 120.0,
        "samples_repeated_total": 3.0,
        "samples_lost_total": 7.0,
        "samples_held": 5.0,
        "commits_total": 60.0,
        "commit_p99_seconds": 0.012,
        "pieces_discarded_total": 2.0,
        "loop_lag_worst_seconds": 0.03,
        "tasks": 8.0,
        "trial_open": 1.0,
        **{f"alarm {kind}": float(kind in ("load_gone", "co_high")) for kind in AlarmKind},
        "alarms_unseen": 1.0,
        "alarms_raised_total": 4.0,
        "warnings": 1.0,
        "store_bytes": 10.0,
        "journal_bytes": 20.0,
        "disk_free_bytes": 30.0,
        "software 0.1.0": 1.0,
    }


def test_the_process_itself_is_measured() -> None:
    got = parsed(Metrics(lambda: FIGURES))
    assert got["process_resident_memory_bytes"] > 1e6
    assert got["process_open_fds"] > 0


def test_figures_are_those_of_the_moment_and_two_daemons_do_not_meet() -> None:
    now = FIGURES
    first, second = Metrics(lambda: now), Metrics(lambda: FIGURES)
    now = replace(FIGURES, benches={YARD.bench: BenchFigures(held=99, discarded=2, commits=60)})
    assert parsed(first)["emberline_samples_held"] == 99.0
    assert parsed(second)["emberline_samples_held"] == 5.0


def test_the_format_is_named() -> None:
    # https://prometheus.io/docs/instrumenting/exposition_formats, text-based format
    assert CONTENT_TYPE.startswith("text/plain; version=")


def test_before_the_first_commit_and_without_a_disk_nothing_is_made_up() -> None:
    health = replace(HEALTH, benches=(replace(YARD, last_commit_ns=None, trial=None),), disk=Disk())
    got = parsed(Metrics(lambda: replace(FIGURES, health=health)))
    assert got["emberline_last_commit_seconds"] == 0.0
    assert got["emberline_trial_open"] == 0.0
    assert "emberline_disk_free_bytes" not in got


def test_each_bench_has_its_own_figures() -> None:
    shed = replace(YARD, bench="shed", committed=9, recording=Recording.NOT_RECORDING)
    benches = {**OWN, "shed": BenchFigures(held=1, discarded=0, commits=4)}
    figures = replace(FIGURES, health=replace(HEALTH, benches=(YARD, shed)), benches=benches)
    families = {one.name: one for one in text_string_to_metric_families(Metrics(lambda: figures).text().decode())}
    stored = {one.labels["bench"]: one.value for one in families["emberline_samples_stored"].samples}
    assert stored == {YARD.bench: 120.0, "shed": 9.0}
    states = families["emberline_recording"].samples
    on = {(one.labels["bench"], one.labels["emberline_recording"]) for one in states if one.value}
    assert on == {(YARD.bench, "recording with gaps"), ("shed", "not recording")}
    assert [one.labels for one in families["emberline_tasks"].samples] == [{}]


class Told:
    """A way that is only named."""

    name = "the command ring"

    async def deliver(self, message: Message) -> None:
        raise NotImplementedError


def test_the_delivery_of_alarms_is_counted_by_way() -> None:
    courier = Courier(Told(), "UTC", 60.0, 600.0, lambda _: None, delivered=3, failed=2)
    got = parsed(Metrics(lambda: replace(FIGURES, couriers=[courier])))
    assert got["emberline_alarm_messages_total the command ring"] == 3.0
    assert got["emberline_alarm_failures_total the command ring"] == 2.0


def test_forwarding_tells_what_waits_since_when_and_what_failed(tmp_path: Path) -> None:
    clock = Clock(1.0, 0, 0.0, lambda: 0.0)
    with Store.open(tmp_path / "s") as store:
        forwarder = Forwarder(store, {}, TimeSeriesServer("http://127.0.0.1:9"), HealthWatch(clock))
        forwarder.behind, forwarder.taken, forwarder.refused, forwarder.failures = 7, 500, 2, 3
        forwarder.oldest_ns, forwarder.failed_ns = 500_000_000, 1_250_000_000
        got = parsed(Metrics(lambda: replace(FIGURES, forwarding=forwarder)))
    told = {name.removeprefix("emberline_forwarding_"): v for name, v in got.items() if "emberline_forwarding" in name}
    assert told == {
        "waiting_commits": 7.0,
        "oldest_waiting_seconds": 1.5,
        "last_failure_seconds": 1.25,
        "rows_total": 500.0,
        "rows_refused_total": 2.0,
        "failures_total": 3.0,
    }
