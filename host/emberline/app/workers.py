"""Processes that do work: of this machine, or of a cluster, by way of Dask."""

import logging
from collections.abc import Iterator
from concurrent.futures import Executor
from contextlib import ExitStack, contextmanager

from emberline.service.errors import ServiceError

CONNECT_LIMIT_S = 5.0
"""Longest wait for a cluster's scheduler."""
OURS = {
    # Every process would look a hundred times a second at what it is doing, for a page that nobody opens.
    "distributed.worker.profile.enabled": False,
    # Dask would also have every process give back memory at each chance, to fetch it anew for the next array.
    "distributed.nanny.pre-spawn-environ": {"OMP_NUM_THREADS": 1, "OPENBLAS_NUM_THREADS": 1},
}
"""What is set of Dask for processes of this machine."""


class WorkersError(ServiceError):
    """There are no processes to work with."""


@contextmanager
def workers(scheduler: str | None, processes: int) -> Iterator[Executor]:
    """Yield what calls functions in processes; a process that dies is replaced, and its work done again.

    Args:
        scheduler: Address of a cluster's scheduler; None for processes of this machine. How connections to it are
            encrypted is Dask's own configuration.
        processes: How many, on this machine.

    Raises:
        WorkersError: A package is missing, or the scheduler does not answer.
    """
    try:
        from dask import config
        from distributed import Client, LocalCluster
        from distributed.security import Security
    except ImportError as exc:
        raise WorkersError(
            "work on several processes needs the extra cluster: pip install 'emberline[cluster]'"
        ) from exc
    with ExitStack() as stack:
        if scheduler is None:
            stack.enter_context(config.set(OURS))
            cluster = LocalCluster(
                n_workers=processes,
                threads_per_worker=1,
                host="127.0.0.1",
                # A certificate for this run alone: whoever else is on this machine must not have functions called.
                security=Security.temporary(),
                # Nothing is shown there, but it listens; never twice on one port.
                dashboard_address="127.0.0.1:0",
                # A process that died is replaced; nothing is lost by it that anybody would have to know of.
                silence_logs=logging.CRITICAL,
            )
            client = stack.enter_context(Client(stack.enter_context(cluster)))
        else:
            try:
                client = stack.enter_context(Client(scheduler, timeout=CONNECT_LIMIT_S))
            except (OSError, ValueError) as exc:
                raise WorkersError(f"no scheduler of Dask answers at {scheduler}: {exc}") from exc
        yield client.get_executor(pure=False)
