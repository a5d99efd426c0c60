"""Many trials worked out anew by two processes, by the clock, from the start of `emberline reanalyse` to its end.

Baseline: a plain loop over the same work in one process. Limit: half of that, were starting processes, handing out work
and keeping results to cost nothing. What else the machine does takes from two processes more than from one.
"""

import subprocess
import time
from collections.abc import Sequence
from pathlib import Path

from benchmarks.service.verdict import Bar, at_least
from benchmarks.speed.figures import Figure, Other
from benchmarks.speed.hour import BENCH, SECOND_NS, START_NS
from daemon_fixture import EMBERLINE
from emberline.app import STORE_NAME
from emberline.app.reanalysing import due_in_store
from emberline.store.blocks import Commit
from emberline.store.store import Store

PROCESSES = 2
EFFICIENCY = 0.85
LOOPED = 12
"""At most so many of the trials are done by the loop: they are alike."""


def measure(folder: Path, commits: Sequence[Commit], plan_text: str, trials: int) -> tuple[list[Figure], list[Bar]]:
    """Work out trials on one record, each a second shorter than the last.

    Args:
        folder: A folder that is not there yet.
        commits: The record.
        plan_text: The plan of each.
        trials: How many.
    """
    folder.mkdir()
    with Store.open(folder / STORE_NAME, lambda: START_NS) as store:
        for commit in commits:
            store.commit(BENCH, commit.batches)
        for number in range(trials):
            trial = store.create_trial(bench=BENCH, start_ns=START_NS, plan_text=plan_text)
            store.end_trial(trial.id, START_NS + (len(commits) - number) * SECOND_NS)
    jobs = due_in_store(folder, again=True).jobs
    assert len(jobs) == trials
    jobs[0].work()
    looped = jobs[:LOOPED]
    began_s = time.perf_counter()
    for job in looped:
        assert job.work() is not None
    alone_s = (time.perf_counter() - began_s) / len(looped) * trials
    began_s = time.perf_counter()
    words = ("reanalyse", "--data", str(folder), "--again", "--processes", str(PROCESSES))
    told = subprocess.run((EMBERLINE, *words), check=True, capture_output=True, text=True).stdout
    together_s = time.perf_counter() - began_s
    assert told.startswith(f"{trials} trials worked out"), told
    baseline, limit = Other("a loop in one process", alone_s), Other("half of that", alone_s / PROCESSES)
    figure = Figure(
        f"{trials} trials of the burn worked out anew by {PROCESSES} processes", together_s, "s", baseline, limit
    )
    efficiency = alone_s / (PROCESSES * together_s)
    return [figure], [at_least("re-analysis, efficiency to two processes", efficiency, EFFICIENCY)]
