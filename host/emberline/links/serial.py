"""A bench's device on a serial port: found, opened, greeted, watched, and tried again for ever when it goes away."""

import asyncio
import logging
from collections.abc import Mapping
from typing import Any

from emberline.bench.bench_file import SerialPort
from emberline.bench.samples import SampleBatch
from emberline.links.arrivals import Greeting, Unnumbered
from emberline.links.errors import LinkError, LinkLostError
from emberline.links.lines_in import LinesIn
from emberline.links.link import LEAST_TICK_S, TICK_S, LinkClock, LinkState, Remember, Take, age_limits_s
from emberline.links.pauses import Pauses
from emberline.links.ports import find_port
from emberline.links.serial_io import SerialIO
from emberline.links.serial_talk import FramesTalk, Talk

LOG = logging.getLogger(__name__)

GREETING_LIMIT_S = 10.0
PLUG_EVERY_S = 0.25
"""How often it is looked whether the device has been plugged in, real seconds."""


class SerialLink:
    """One device on one port.

    Attributes:
        state: Where the link stands.
        trouble: What went wrong last, in words; empty while streaming.
        talk: What is spoken on the port.
    """

    def __init__(
        self,
        wanted: SerialPort,
        clock: LinkClock,
        *,
        names: Mapping[str, str] | None = None,
        standing: Mapping[str, Any] | None = None,
        remember: Remember | None = None,
        pauses: Pauses | None = None,
    ) -> None:
        """Prepare a link; `run` does the work.

        Args:
            wanted: The port and, if named, the device.
            clock: The daemon's clock.
            names: Channel names within the bench, by names on the device or columns, where the two differ.
            standing: What `remember` kept last, in an earlier run.
            remember: Called after each commit, before the device is told, with its boot and with what tells how far its
                samples are stored.
            pauses: Waits between attempts.
        """
        self.state = LinkState.SEEKING
        self.trouble = ""
        self.talk: Talk = (
            FramesTalk(wanted, names or {}, standing, remember)
            if wanted.lines is None
            else LinesIn(wanted.lines, names or {}, wanted.baud)
        )
        self._wanted = wanted
        self._clock = clock
        self._pauses = pauses or Pauses()
        self._io: SerialIO | None = None
        self._last_news_ns = 0

    @property
    def greeting(self) -> Greeting | None:
        """The device's last greeting."""
        return self.talk.greeting

    @property
    def discarded(self) -> int:
        """What arrived and could not be read."""
        return self.talk.discarded

    async def run(self, take: Take) -> None:
        """Keep the link up until cancelled, and hand on what arrives.

        Args:
            take: Receives arrivals; while it waits, nothing more is read from the port.
        """
        try:
            while True:
                try:
                    await self._connection(take)
                except LinkError as error:
                    self._log_trouble(str(error))
                self.state = LinkState.WAITING if self.state is not LinkState.REFUSED else self.state
                await self._pause(self._pauses.next_s())
        finally:
            await self._hang_up()
            self.state = LinkState.CLOSED

    def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
        """Take note that all samples before those wanted are on disk; a device that listens is told."""
        self.talk.committed(boot, wanted)
        self._send()

    async def _pause(self, seconds: float) -> None:
        """Wait before the next attempt; a device that is plugged in meanwhile is not kept waiting."""
        there, left_s = await self._is_there(), self._clock.real_s(seconds)
        while left_s > 0.0:
            await asyncio.sleep(min(left_s, PLUG_EVERY_S))
            left_s -= PLUG_EVERY_S
            before, there = there, await self._is_there()
            if there and not before:
                return

    async def _is_there(self) -> bool:
        try:
            await asyncio.to_thread(find_port, self._wanted)
        except LinkError:
            return False
        return True

    async def _connection(self, take: Take) -> None:
        self.state = LinkState.SEEKING
        path = await asyncio.to_thread(find_port, self._wanted)
        self._io = await SerialIO.open(path, self._wanted.baud, self._clock.now_ns)
        try:
            self.state = LinkState.ASKING
            self._last_news_ns = self._clock.now_ns()
            self.talk.connected(self._last_news_ns)
            tick_s = max(LEAST_TICK_S, self._clock.real_s(TICK_S))
            while True:
                self._send()
                pieces = await self._io.received(tick_s)
                await self._work(pieces, take)
                self._watch_age()
        finally:
            await self._hang_up()

    async def _work(self, pieces: list[tuple[bytes, int]], take: Take) -> None:
        now_ns = self._clock.now_ns()
        arrivals = self.talk.take_in(pieces, now_ns)
        self._send()
        if any(isinstance(one, SampleBatch | Unnumbered) for one in arrivals):
            self._last_news_ns = now_ns
        refusal = self.talk.refusal
        if arrivals:
            await take(arrivals)
        # What came before a refusal was taken in: it will not be told again.
        if refusal:
            self.state = LinkState.REFUSED
            raise LinkError(refusal)

    def _watch_age(self) -> None:
        age_s = (self._clock.now_ns() - self._last_news_ns) * 1e-9
        if not self.talk.streaming:
            if age_s > GREETING_LIMIT_S + self._clock.slack_s:
                raise LinkLostError(f"{self.talk.nobody} (waited {GREETING_LIMIT_S:.0f} s)")
            return
        stale_s, gone_s = age_limits_s(self.greeting)
        if age_s > gone_s + self._clock.slack_s:
            raise LinkLostError(f"no readings for {age_s:.0f} s though the port is open")
        if age_s > stale_s + self._clock.slack_s:
            self.state = LinkState.STALE
        elif self.state is not LinkState.STREAMING:
            self.state = LinkState.STREAMING
            self._log_sound()

    def _send(self) -> None:
        if self._io is not None:
            self._io.send(self.talk.bytes_to_send())

    async def _hang_up(self) -> None:
        io, self._io = self._io, None
        if io is not None:
            self.talk.disconnected()
            await io.close()

    def _log_sound(self) -> None:
        if self.greeting is not None:
            LOG.info("%s streams from %s", self.greeting.device, self._wanted.port or "its USB port")
        self.trouble = ""
        self._pauses.succeeded()

    def _log_trouble(self, words: str) -> None:
        level = logging.DEBUG if words == self.trouble else logging.WARNING
        LOG.log(level, "%s; trying again", words)
        self.trouble = words
