"""A person who is guided at a simulated weighing table: for tests of the course and of its screens."""

from dataclasses import dataclass, field, replace
from typing import Any

from emberline.bench.channels import Channel, Role, default_channel
from emberline.bench.inventory import Entry, Kind
from emberline.trials.guide.course import act, begin, look
from emberline.trials.guide.seen import Seen
from emberline.trials.guide.state import Guide, read_guide
from unit.trials.guide.weighing_table import Table

LOT = Entry(Kind.LOT, "spruce, October", {"moisture_wet": 0.08, "lhv_dry_j_g": 18_700.0}, {"fuel": "pellets"})
POT = Entry(Kind.POT, "tin pot", {"tare_g": 312.0, "u_tare_g": 0.4}, {"material": "steel"})
STOVE = Entry(Kind.STOVE, "paint can", {"tare_g": 640.0})


def channels(*roles: Role) -> dict[Role, Channel]:
    return {role: default_channel(role) for role in roles or (Role.MASS, Role.WATER, Role.FLAME, Role.AMBIENT)}


@dataclass
class Person:
    """Someone with a scale and a phone."""

    table: Table = field(default_factory=lambda: Table(1))
    seen: Seen = field(default_factory=lambda: Seen(0, channels(), entries=(LOT, POT, STOVE)))
    guide: Guide = field(default_factory=lambda: begin(1))

    def __post_init__(self) -> None:
        self.table.wait(1.0)

    def looks(self, **shown: Any) -> Seen:
        """Look at the bench; what is shown stays shown."""
        self.seen = replace(self.seen, now_ns=self.table.now_ns, level=self.table.look(), **shown)
        self.guide = look(self.guide, self.seen)
        # Whatever happens, it happens to what comes back from the disk.
        kept = read_guide(self.guide.text)
        assert kept is not None
        self.guide = kept
        return self.seen

    def does(self, do: str, **more: Any) -> Guide:
        """Wait until the scale is steady, look, and answer."""
        self.table.until_steady()
        self.looks()
        self.guide = act(self.guide, self.seen, {"act": do, **more})
        return self.guide

    def weighs(self, mass_g: float) -> Guide:
        """Put something on and take what the scale shows."""
        self.table.wait(2.0)
        self.looks()
        self.table.put(mass_g)
        return self.does("take")

    def clears(self) -> None:
        self.table.put(-self.table.load_g)
        self.table.until_steady()
        self.looks()

    def value(self, key: str) -> tuple[float, float]:
        return next(answer.values[key] for answer in self.guide.answers.values() if key in answer.values)


def ready(person: Person) -> Person:
    """Be guided until the trial can be opened, everything weighed one on the other."""
    person.does("begin", lot=LOT.name, pot=POT.name, stove=STOVE.name, with_pot=True, label="run 1")
    person.table.wait(30.0)
    person.does("take")
    person.table.put(500.0)
    person.does("take", values={"load_cell.known_g": "500"})
    person.clears()
    person.looks(readings={Role.WATER: 19.5, Role.AMBIENT: 19.4})
    person.looks(readings={Role.WATER: 14.0, Role.AMBIENT: 19.4})
    person.does("take")
    for mass_g in (640.0, 330.0, 5.0):
        person.weighs(mass_g)
    person.does("skip")  # the pot is listed
    person.table.put(312.0)
    person.table.until_steady()
    person.does("tare")
    person.weighs(500.0)
    person.does("type", values={"place.altitude_m": "210", "place.ambient_c": "19.4"})
    return person
