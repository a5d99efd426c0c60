"""A device that notes what it is told."""

from collections.abc import Mapping


class Device:
    """Notes what it is told is stored."""

    def __init__(self) -> None:
        self.told: list[tuple[int, dict[str, int]]] = []

    def committed(self, boot: int, wanted: Mapping[str, int]) -> None:
        self.told.append((boot, dict(wanted)))

    def wanted(self, boot: int, channel: str) -> int:
        return max((wanted.get(channel, 0) for told, wanted in self.told if told == boot), default=0)
