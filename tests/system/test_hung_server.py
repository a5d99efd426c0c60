"""The short form of `deploy/bench forwarding`: a server that hangs delays no commit, and has every row afterwards."""

from pathlib import Path

import numpy as np
import pytest

from benchmarks.forwarding.acknowledged import Acknowledged, quantile
from benchmarks.forwarding.running import Plan, run
from broker_fixture import Broker
from emberline_wire import Ack, Samples, seal


@pytest.mark.timeout(240)
async def test_a_hung_server_delays_no_commit_and_has_every_row_in_the_end(tmp_path: Path, broker: Broker) -> None:
    del broker  # skips where there is no such program; the benchmark runs its own
    found = await run(tmp_path, Plan(hung_s=12.0, after_s=4.0), lambda _: None)
    assert found.attempts >= 1
    assert (found.lost, found.unaccounted, found.doubled, found.missing, found.more) == (0, 0, 0, 0, 0)
    assert min(len(found.alone_s), len(found.hung_s)) > 100
    # A request waits for 4 s: were commits to wait with it, so would one message in three.
    assert quantile(found.hung_s, 0.9) <= 1.5 * quantile(found.alone_s, 0.9) + 0.5


def samples(first: int, stream: int = 1) -> bytes:
    values = np.zeros(10, dtype="<i4")
    return seal(
        Samples(
            boot=7, stream=stream, first_seq=first, ticks=0, values=values, oldest_seq=0, period_us=1_000
        ).to_bytes()
    )


def test_the_time_runs_until_the_last_sample_of_a_message_is_acknowledged(tmp_path: Path) -> None:
    heard = Acknowledged(Broker(tmp_path))
    heard.heard("emberline/v1/yard/up", samples(0), 10.0)
    heard.heard("emberline/v1/yard/up", samples(10), 10.5)
    heard.heard("emberline/v1/yard/up", b"no frame", 10.5)
    heard.heard("emberline/v1/yard/down", seal(Ack(7, {1: 9}).to_bytes()), 11.0)
    heard.heard("emberline/v1/yard/down", seal(Ack(8, {1: 99}).to_bytes()), 11.1)
    heard.heard("emberline/v1/shed/down", seal(Ack(7, {1: 99}).to_bytes()), 11.2)
    assert not heard.lags_s["yard"]
    heard.heard("emberline/v1/yard/down", seal(Ack(7, {1: 10}).to_bytes()), 11.5)
    heard.heard("emberline/v1/yard/down", seal(Ack(7, {1: 20, 2: 5}).to_bytes()), 12.5)
    assert heard.lags_s["yard"] == [1.5, 2.0]


def test_a_quantile_is_one_of_the_values() -> None:
    values = [float(one) for one in range(100, 0, -1)]
    assert (quantile(values, 0.99), quantile(values, 0.5), quantile([3.0], 0.99)) == (100.0, 51.0, 3.0)
