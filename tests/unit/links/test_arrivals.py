import numpy as np
import pytest

from emberline.bench.samples import FLAG_FAULT, SampleBatch
from emberline.links.arrivals import Greeting, Lost, Restart, Translator
from emberline_wire import Channel, Event, Gap, Greeted, Hello, Kind, Loss, Readings, Rebooted

MASS = Channel(0, "scale", Kind.BRIDGE_COUNTS, 100_000, 0.002, 84_000)
WATER = Channel(1, "water", Kind.THERMOCOUPLE_LINEARISED, 250_000, 0.25)
JUNCTION = Channel(2, "water_cj", Kind.COLD_JUNCTION, 1_000_000, 1 / 16, 0, serves=1)
HELLO = Hello(7, "dev", "1.0", (MASS, WATER, JUNCTION), 0, 1000, 8000)


def readings(
    channel: Channel, first: int, values: list[float], t0_ns: int, faults: list[int] | None = None
) -> Readings:
    n = len(values)
    t_ns = t0_ns + np.arange(n, dtype=np.int64) * channel.period_us * 1000
    bits = np.array(faults or [0] * n, dtype=np.uint8)
    return Readings("dev", 7, channel, first, t_ns, np.array(values), bits)


@pytest.fixture
def translator() -> Translator:
    translator = Translator({"scale": "mass"})
    (greeting,) = translator.arrivals([Greeted(HELLO)], 0)
    assert isinstance(greeting, Greeting)
    assert [channel.unit for channel in greeting.channels] == ["g", "c", "c"]
    assert greeting.channels[2].serves == "water"
    assert (greeting.frame_period_s, greeting.keeps_s) == (1.0, 8.0)
    return translator


def test_readings_keep_their_raw_values_under_the_name_of_the_bench(translator: Translator) -> None:
    (batch,) = translator.arrivals([readings(MASS, 40, [90_000.0, 90_010.0], 1_000, [0, 8])], 5_000)
    assert isinstance(batch, SampleBatch)
    assert (batch.device, batch.boot, batch.channel, batch.first_seq) == ("dev", 7, "mass", 40)
    assert batch.raw.tolist() == [90_000.0, 90_010.0]
    assert batch.flags.tolist() == [0, FLAG_FAULT]
    assert batch.t_ns.tolist() == [1_000, 100_001_000]


def test_a_cold_junction_is_stored_in_degrees_beside_its_thermocouple(translator: Translator) -> None:
    (batch,) = translator.arrivals([readings(JUNCTION, 0, [352.0], 0)], 0)
    assert isinstance(batch, SampleBatch)
    assert (batch.channel, batch.raw.tolist()) == ("water.cold_junction", [22.0])
    assert translator.streams() == {"mass": 0, "water": 1, "water.cold_junction": 2}


@pytest.mark.parametrize(
    ("kind", "junction", "flat"),
    [
        (Kind.THERMOCOUPLE_FLAT, True, True),
        (Kind.THERMOCOUPLE_FLAT, False, False),
        (Kind.THERMOCOUPLE_LINEARISED, True, False),
    ],
)
def test_a_converter_of_one_slope_is_told_where_its_cold_junction_comes_with_it(
    kind: Kind, junction: bool, flat: bool
) -> None:
    water = Channel(1, "water", kind, 250_000, 0.25)
    hello = Hello(7, "dev", "1.0", (water, JUNCTION) if junction else (water,), 0, 1000, 8000)
    (greeting,) = Translator({}).arrivals([Greeted(hello)], 0)
    assert isinstance(greeting, Greeting)
    assert greeting.channels[0].flat == flat


def test_a_loss_lies_between_the_samples_around_it(translator: Translator) -> None:
    translator.arrivals([readings(MASS, 0, [1.0, 2.0], 0)], 0)
    events: list[Event] = [Gap("dev", 7, MASS, 2, 5, Loss.OVERRUN), readings(MASS, 6, [3.0], 600_000_000)]
    lost, batch = translator.arrivals(events, 900_000_000)
    assert isinstance(lost, Lost)
    assert isinstance(batch, SampleBatch)
    assert (lost.channel, lost.first_seq, lost.next_seq) == ("mass", 2, 6)
    assert (lost.start_ns, lost.end_ns) == (100_000_000, 600_000_000)
    assert "overwrote" in lost.reason


def test_a_loss_before_any_sample_has_a_time_all_the_same(translator: Translator) -> None:
    (lost,) = translator.arrivals([Gap("dev", 7, MASS, 0, 9, Loss.BEFORE_CONTACT)], 10_000_000_000)
    assert isinstance(lost, Lost)
    assert (lost.start_ns, lost.end_ns) == (9_000_000_000, 10_000_000_000)


def test_a_restart_is_told(translator: Translator) -> None:
    assert translator.arrivals([Rebooted(7, 8, {0: 60})], 0) == [Restart("dev", 7, 8)]


def test_a_device_that_restarts_again_and_again_leaves_nothing_behind(translator: Translator) -> None:
    for boot in range(50):
        translator.arrivals([readings(MASS, 0, [1.0], 0), Rebooted(7, boot, {})], 0)
    assert not translator._last_ns
