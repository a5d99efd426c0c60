"""The topics of a bench on a broker, as PROTOCOL.md gives them."""

from dataclasses import dataclass

from emberline.bench.bench_file import is_bench_id

HELLOS = "emberline/v1/+/hello"
"""Filter for the hellos of all benches (MQTT 5, 4.7.1.3)."""


def bench_of_hello(topic: str) -> str | None:
    """Return the bench of a hello's topic; None where its name could be no bench's."""
    bench = topic.removeprefix("emberline/v1/").removesuffix("/hello")
    return bench if is_bench_id(bench) and topic == Topics(bench)["hello"] else None


@dataclass(frozen=True, slots=True)
class Topics:
    """The topics of one bench.

    Attributes:
        bench: Id of the bench.
    """

    bench: str

    def __getitem__(self, name: str) -> str:
        return f"emberline/v1/{self.bench}/{name}"

    @property
    def up(self) -> str:
        """Frames from the device."""
        return self["up"]

    @property
    def down(self) -> str:
        """Frames to the device."""
        return self["down"]

    @property
    def online(self) -> str:
        """Whether the device is connected: `1`, or its last will, `0`."""
        return self["online"]

    @property
    def senml(self) -> str:
        """Readings as SenML, from whatever device."""
        return self["senml"]
