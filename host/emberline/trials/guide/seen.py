"""What a guide is shown at each look: readings, the trial so far, and what is kept."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from emberline.bench.channels import Channel, Role
from emberline.bench.inventory import Entry, Kind
from emberline.trials.guide.level import Level


@dataclass(frozen=True, slots=True)
class Seen:
    """What a guide is shown.

    Attributes:
        now_ns: Time of the newest reading, UTC nanoseconds.
        channels: The bench's channels by role; empty before a device has greeted.
        level: What stands on the scale.
        missed: What stood there since the last look, oldest first.
        readings: Newest value of each other role; a role whose converter reports a fault, or that fell silent, is
            absent.
        water_spread_c: How far the water probe moved within the last seconds.
        disk_free_bytes: Room left on the disk.
        phase: Phase of the open trial, in the words of `curves.events.Phase`, or `not known`; empty without one.
        marks_ns: When the trial's events happened, by kind: the last of each.
        lift_g: What left the scale with the pot, where that was seen.
        entries: The inventory.
        last: The last plan on this bench, as tables; None where there is none.
        advice: What would help most to know the results better, in sentences.
        summary: The trial's page; empty before there is one.
    """

    now_ns: int
    channels: Mapping[Role, Channel] = field(default_factory=dict)
    level: Level | None = None
    missed: tuple[Level, ...] = ()
    readings: Mapping[Role, float] = field(default_factory=dict)
    water_spread_c: float = 0.0
    disk_free_bytes: int | None = None
    phase: str = ""
    marks_ns: Mapping[str, int] = field(default_factory=dict)
    lift_g: float | None = None
    entries: tuple[Entry, ...] = ()
    last: Mapping[str, Any] | None = None
    advice: tuple[str, ...] = ()
    summary: str = ""

    def entry(self, kind: Kind, name: str) -> Entry | None:
        """Return an entry of the inventory by its name, or None."""
        return next((entry for entry in self.entries if entry.kind is kind and entry.name == name), None)
