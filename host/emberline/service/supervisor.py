"""The one place that starts tasks: each has a name, a policy for failures, and is awaited at the end."""

import asyncio
import logging
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from enum import Enum

from emberline.service.errors import TaskFailedError

LOG = logging.getLogger(__name__)

RESTART_PAUSE_S, LONGEST_PAUSE_S = 1.0, 60.0
TOO_OFTEN = 5
"""So many failures within `WITHIN_S` mean that starting a task again does not help."""
WITHIN_S = 60.0

Work = Callable[[], Awaitable[None]]


class OnFailure(Enum):
    """What happens when a task fails."""

    RESTART = "restart"
    """It is started again after a pause, and ends the daemon only if it fails again and again."""
    PERSIST = "persist"
    """It is started again for as long as it takes, after longer and longer pauses: others must not suffer for it."""
    END = "end"
    """The daemon ends: going on without this task would lose data unnoticed."""


@dataclass
class _Task:
    name: str
    work: Work
    policy: OnFailure
    told: Callable[[str], None]
    running: "asyncio.Task[None]" = field(init=False)
    failures_s: list[float] = field(default_factory=list)
    pause_s: float = 0.0


class Supervisor:
    """Keeps tasks running and stops them in order.

    Attributes:
        failed: Set when a task has ended the daemon.
        failure: Which one and why.
    """

    def __init__(self) -> None:
        self.failed = asyncio.Event()
        self.failure: TaskFailedError | None = None
        self._tasks: dict[str, _Task] = {}

    def start(
        self,
        name: str,
        work: Work,
        policy: OnFailure = OnFailure.RESTART,
        told: Callable[[str], None] = lambda _: None,
    ) -> None:
        """Run `work` until it returns or is stopped.

        Args:
            name: A name of its own.
            work: The work.
            policy: What happens when it fails.
            told: Given what is wrong while it waits to be started again, and nothing once it has been.
        """
        task = _Task(name, work, policy, told)
        self._tasks[name] = task
        task.running = asyncio.create_task(self._keep(task), name=name)  # noqa: TID251 the one place that may

    def fail(self, name: str, error: Exception) -> None:
        """Have the daemon end because of what a part has found; the first such finding counts."""
        if self.failure is None:
            self.failure = TaskFailedError(f"{name} failed: {error}; see the log, then start again")
            self.failure.__cause__ = error
            self.failed.set()

    def names(self) -> list[str]:
        """Return the tasks that are running."""
        return [name for name, task in self._tasks.items() if not task.running.done()]

    async def stop(self, name: str, limit_s: float) -> bool:
        """Cancel a task and wait for its end; return whether it ended within the limit (real seconds)."""
        task = self._tasks.get(name)
        if task is None:
            return True
        task.running.cancel()
        return await self.ended(name, limit_s)

    async def ended(self, name: str, limit_s: float) -> bool:
        """Wait for a task to end by itself; return whether it did within the limit (real seconds)."""
        task = self._tasks.get(name)
        if task is None:
            return True
        _, pending = await asyncio.wait([task.running], timeout=limit_s)
        if pending:
            LOG.error("task %s did not end within %.1f s", name, limit_s)
        return not pending

    async def _keep(self, task: _Task) -> None:
        while True:
            began_s = asyncio.get_running_loop().time()
            try:
                await task.work()
            except asyncio.CancelledError:
                raise
            except Exception as error:
                LOG.exception("task %s failed", task.name)
                if task.policy is OnFailure.END or (task.policy is OnFailure.RESTART and self._too_often(task)):
                    self.fail(task.name, error)
                    return
                task.told(f"{task.name} failed, and is started again: {error}")
                await asyncio.sleep(self._pause_s(task, began_s))
                task.told("")
            else:
                return

    @staticmethod
    def _pause_s(task: _Task, began_s: float) -> float:
        lasted = asyncio.get_running_loop().time() - began_s > WITHIN_S
        longer = task.policy is OnFailure.PERSIST and task.pause_s and not lasted
        task.pause_s = min(2.0 * task.pause_s, LONGEST_PAUSE_S) if longer else RESTART_PAUSE_S
        return task.pause_s

    @staticmethod
    def _too_often(task: _Task) -> bool:
        now_s = asyncio.get_running_loop().time()
        task.failures_s = [at for at in task.failures_s if now_s - at < WITHIN_S] + [now_s]
        return len(task.failures_s) >= TOO_OFTEN
