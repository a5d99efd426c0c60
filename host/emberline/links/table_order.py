"""The order of a recorded table's rows: strays, second starts of the clock, rows out of order."""

from collections import Counter
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from emberline.links.table_time import DAY_NS, TimeColumn

STARTS_AT_MOST = 5
SHORTEST_RUN = 20
"""Rows that a run needs to be taken for a second start of the logger rather than for rows out of order."""


def ordered(time: TimeColumn) -> tuple[NDArray[np.int64], Counter[str]]:
    """Return the rows to be kept, in order of time, and how many were set aside or moved, by reason.

    - A row more than a day from the middle of the record has a broken clock; it would stretch a burn over years.
    - Where the clock starts again (a logger that rebooted), the longest run is kept: the runs cannot be joined, since
      nobody knows how long the logger was off.
    - Rows out of order are sorted; rows of one time keep the order in which they stand.
    """
    counts: Counter[str] = Counter()
    rows = np.flatnonzero(time.good)
    if not len(rows):
        return rows, counts
    t_ns = time.t_ns[rows]
    # Halves first: the difference of two far times would not fit.
    near = np.abs(t_ns // 2 - np.median(t_ns // 2)) <= DAY_NS / 2
    counts["row more than a day from the rest"] = int(np.count_nonzero(~near))
    rows, t_ns = rows[near], t_ns[near]
    run = _longest_run(t_ns)
    counts["row before or after a restart of the clock"] = len(rows) - (run.stop - run.start)
    rows, t_ns = rows[run], t_ns[run]
    counts["row out of order (sorted)"] = int(np.count_nonzero(np.diff(t_ns) < 0))
    return rows[np.argsort(t_ns, kind="stable")], counts


def _longest_run(t_ns: NDArray[np.int64]) -> slice:
    """Return the longest run between restarts of the clock; everything where there is none."""
    whole = slice(0, len(t_ns))
    falls = np.flatnonzero(np.diff(t_ns) < 0) + 1
    if not 0 < len(falls) <= STARTS_AT_MOST:
        return whole
    edges = [0, *falls.tolist(), len(t_ns)]
    runs = [slice(start, stop) for start, stop in pairwise(edges)]
    span = int(t_ns.max() - t_ns.min())
    starts_again = all(int(t_ns[run.start] - t_ns[0]) <= span // 20 for run in runs)
    if not starts_again or min(run.stop - run.start for run in runs) < SHORTEST_RUN:
        return whole
    return max(runs, key=lambda run: run.stop - run.start)
