"""`Following` in a process of its own."""

from pathlib import Path
from typing import cast

from emberline.service.apart import Apart
from emberline.service.watch import Turn, Watch

LIMIT_S = 120.0
"""Longest wait for a turn, real seconds; the first one imports the detectors' libraries."""


class ApartFollower:
    """Follows the record of a store without taking time from the program that fills it."""

    def __init__(self, store: Path) -> None:
        """Prepare; the process is started when it is first needed, and anew after it went down."""
        self._apart = Apart(_following, store, name="the follower")

    async def start(self) -> None:
        """Start the process, so that nobody waits for it later.

        Raises:
            ApartError: It cannot be started.
        """
        await self._apart.start()

    async def begin(self, watch: Watch) -> None:
        """Follow a record.

        Raises:
            ApartError: The process failed.
        """
        await self._apart.start()
        await self._apart.call("begin", watch, limit_s=LIMIT_S)

    async def turn(self) -> Turn:
        """Follow it further.

        Raises:
            ApartError: The process failed.
        """
        return cast(Turn, await self._apart.call("turn", limit_s=LIMIT_S))

    async def close(self) -> None:
        """End the process."""
        await self._apart.close()


def _following(store: Path) -> object:
    """Make the object in the process apart, which alone imports the detectors."""
    from emberline.service.following import Following

    return Following(store)
