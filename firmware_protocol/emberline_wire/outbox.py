"""Messages waiting to be sent to a device: at most one of a kind, the newest, so that a stuck link fills no memory."""

from collections.abc import Mapping

from emberline_wire.messages import Message, Resume


class Outbox:
    """Keeps messages in the order in which their kinds were first wanted."""

    def __init__(self) -> None:
        self._waiting: dict[tuple[int, int], Message] = {}

    def put(self, message: Message, stream: int = 0) -> None:
        """Queue a message in place of any of its kind for the same `stream`."""
        self._waiting[message.TYPE, stream] = message

    def put_resume(self, boot: int, wanted: Mapping[int, int]) -> None:
        """Queue a resume, together with what one in the queue already asks for."""
        waiting = self._waiting.get((Resume.TYPE, 0))
        before = waiting.wanted if isinstance(waiting, Resume) and waiting.boot == boot else {}
        self.put(Resume(boot, {**before, **wanted}))

    def holds(self, kind: type[Message]) -> bool:
        """Return whether a message of a kind waits."""
        return any(key == kind.TYPE for key, _ in self._waiting)

    def clear(self) -> None:
        """Drop everything, as when the link is gone."""
        self._waiting.clear()

    def take(self) -> list[Message]:
        """Return all messages and keep none."""
        messages = list(self._waiting.values())
        self._waiting.clear()
        return messages
