"""What is done for each bench now and then, by one task: a task and a timer for each would cost more than the work."""

import asyncio
import logging
from collections.abc import Callable
from dataclasses import dataclass

LOG = logging.getLogger(__name__)

STEP_S = 0.1
"""Time between two looks for what is due, real seconds."""
AT_ONCE = 25
"""Benches for which something is done before anything else has its turn."""
AGAIN_S = 1.0
"""Pause after a failure, real seconds."""


@dataclass(slots=True)
class _Look:
    look: Callable[[], None]
    every_s: float
    told: Callable[[str], None]
    due_s: float = 0.0
    trouble: str = ""


class Rounds:
    """Calls what it was given, each in its time; what fails is told, called again, and keeps nothing else waiting."""

    def __init__(self) -> None:
        """Begin with nothing; `run` calls."""
        self._looks: dict[str, _Look] = {}

    def enter(self, name: str, look: Callable[[], None], every_s: float, told: Callable[[str], None]) -> None:
        """Have something called from now on.

        Args:
            name: A name of its own.
            look: What is called; it does not wait.
            every_s: How often, real seconds; the next round of `STEP_S` counts.
            told: Given what is wrong after a failure, and nothing once it goes on.
        """
        self._looks[name] = _Look(look, every_s, told)

    def leave(self, name: str) -> None:
        """Have it called no more; does nothing for a name that was not entered."""
        self._looks.pop(name, None)

    async def run(self) -> None:
        """Call until cancelled."""
        loop = asyncio.get_running_loop()
        while True:
            now_s, called = loop.time(), 0
            for name, one in list(self._looks.items()):
                if one.due_s > now_s or name not in self._looks:
                    continue
                one.due_s = now_s + one.every_s
                self._call(name, one)
                called += 1
                if called % AT_ONCE == 0:
                    await asyncio.sleep(0.0)
            await asyncio.sleep(STEP_S)

    @staticmethod
    def _call(name: str, one: _Look) -> None:
        try:
            one.look()
        except Exception as error:
            if str(error) != one.trouble:
                LOG.exception("%s failed", name)
                one.trouble = str(error)
                one.told(f"{name} failed, and is tried again: {error}")
            one.due_s += AGAIN_S
        else:
            if one.trouble:
                one.trouble = ""
                one.told("")
