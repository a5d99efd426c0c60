"""Forwarding to a real VictoriaMetrics, read back and compared with the store row by row."""

import asyncio
import contextlib
import json
import shutil
import subprocess
import urllib.parse
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from broker_fixture import free_port
from emberline.bench.samples import SampleBatch
from emberline.curves.events import Event, EventKind
from emberline.service.clock import Clock
from emberline.service.forwarding.forwarder import Forwarder
from emberline.service.forwarding.server_file import TimeSeriesServer
from emberline.service.health import HealthWatch
from emberline.store.store import Store
from live_fixture import until

SECOND_NS = 10**9


@contextlib.contextmanager
def victoria_metrics(folder: Path, port: int) -> Iterator[str]:
    """Run a VictoriaMetrics on a port of this machine; the same folder brings back what it had."""
    program = shutil.which("victoria-metrics")
    if program is None:
        pytest.skip("no victoria-metrics on this machine: deploy/debian-packages victoria-metrics")
    words = [f"-storageDataPath={folder}", f"-httpListenAddr=127.0.0.1:{port}", "-dedup.minScrapeInterval=1ms"]
    words += ["-retentionPeriod=100y", "-memory.allowedBytes=64MB"]
    with (
        (folder.parent / "vm.log").open("ab") as log,
        subprocess.Popen([program, *words], stdout=log, stderr=log) as run,
    ):
        try:
            yield f"http://127.0.0.1:{port}"
        finally:
            run.terminate()
            run.wait(timeout=30)


def answers(url: str) -> bool:
    with contextlib.suppress(OSError):
        return bool(urllib.request.urlopen(f"{url}/health", timeout=2).status == 200)  # noqa: S310 our own server
    return False


def exported(url: str, name: str) -> dict[str, list[tuple[int, float]]]:
    """Return all rows of a metric, by its labels."""
    # The clock of a bench that runs faster is ahead of the server's.
    span = {"start": 0, "end": 4_000_000_000}
    query = urllib.parse.urlencode({"match[]": f'{{__name__="{name}"}}', **span, "reduce_mem_usage": 0})
    text = urllib.request.urlopen(f"{url}/api/v1/export?{query}", timeout=10).read().decode()  # noqa: S310
    found: dict[str, list[tuple[int, float]]] = {}
    for line in text.splitlines():
        one = json.loads(line)
        labels = {key: value for key, value in one["metric"].items() if key != "__name__"}
        rows = zip(one["timestamps"], one["values"], strict=True)
        found.setdefault(json.dumps(labels, sort_keys=True), []).extend(rows)
    return {labels: sorted(rows) for labels, rows in found.items()}


def commit(store: Store, numbers: range, start_ns: int) -> dict[int, float]:
    """Commit a second of readings for each number; return the values by their times in milliseconds."""
    rng = np.random.default_rng(numbers.start)
    sent: dict[int, float] = {}
    for number in numbers:
        t_ns = start_ns + (np.arange(10, dtype=np.int64) + 10 * number) * 100_000_000
        raw = np.round(rng.normal(900.0, 1.0, 10), 3)
        store.commit("yard", [SampleBatch("dev", 1, "mass", 10 * number, t_ns, raw, np.zeros(10, np.uint8))])
        sent |= dict(zip((t_ns // 10**6).tolist(), raw.tolist(), strict=True))
    return sent


async def _correct(store: Store, trial: str, url: str, start_ns: int) -> None:
    """Move an event and make a result smaller; the server knows by then which of the rows hold."""
    store.save_events(trial, [Event(EventKind.LIT, 10.5, 0.5, "lit")])
    results = {"burn_time": {"value": 70.5, "u": 2.0, "unit": "s", "interval_95": [66.6, 74.4]}}
    store.save_summary(trial, json.dumps({"results": results}), "0.1.0")

    def newest(measurement: str, field: str) -> list[tuple[int, float]]:
        """Return the rows of a field, those of replaced revisions left out."""
        gone = exported(url, f"{measurement}_replaced")
        rows = exported(url, f"{measurement}_{field}")
        if not rows.keys() <= gone.keys():
            return []  # a revision came between the two looks
        return [row for labels, found in rows.items() for row in found if (row[0], 1.0) not in gone[labels]]

    lit = [(start_ns // 10**6 + 10_500, 10.5)]
    await until(lambda: newest("emberline_event", "t_s") == lit, "the corrected event alone", 30.0)
    shorter = [(start_ns // 10**6, 70.5)]
    await until(lambda: newest("emberline_result", "value") == shorter, "the corrected result alone", 30.0)


@pytest.mark.timeout(120)
async def test_a_server_that_was_away_for_a_whole_trial_has_every_row_once(tmp_path: Path) -> None:
    port, start_ns = free_port(), 1_764_072_000 * SECOND_NS
    with Store.open(tmp_path / "s") as store:
        one = Forwarder(
            store,
            {},
            TimeSeriesServer(f"http://127.0.0.1:{port}", every_s=0.0),
            HealthWatch(Clock(1.0, start_ns, 0.0, lambda: 0.0)),
            draw=lambda: 0.0,
        )
        task = asyncio.create_task(one.run())

        def all_sent() -> bool:
            return store.outbox_cursor(one.server.name) == store.newest_commit()

        try:
            with victoria_metrics(tmp_path / "vm", port) as url:
                await until(lambda: answers(url), "the server", 30.0)
                sent = commit(store, range(20), start_ns)
                await until(all_sent, "the cursor", 30.0)
            sent |= commit(store, range(20, 120), start_ns)
            trial = store.create_trial(bench="yard", start_ns=start_ns)
            store.end_trial(trial.id, start_ns + 120 * SECOND_NS)
            store.save_events(trial.id, [Event(EventKind.LIT, 12.5, 0.5, "lit")])
            results = {"burn_time": {"value": 71.25, "u": 2.0, "unit": "s", "interval_95": [67.33, 75.17]}}
            store.save_summary(trial.id, json.dumps({"results": results}), "0.1.0")
            with victoria_metrics(tmp_path / "vm", port) as url:
                await until(lambda: all_sent() and not one.watch.health().warnings, "the cursor", 60.0)
                await until(lambda: bool(exported(url, "emberline_result_value")), "the results", 30.0)
                (rows,) = exported(url, "emberline_sample_raw").values()
                assert dict(rows) == sent
                assert len(rows) == len(sent) == 1_200
                (lit,) = exported(url, "emberline_event_t_s").values()
                assert lit == [(start_ns // 10**6 + 12_500, 12.5)]
                (value,) = exported(url, "emberline_result_value").values()
                assert value == [(start_ns // 10**6, 71.25)]
                await _correct(store, trial.id, url, start_ns)
        finally:
            task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await task
