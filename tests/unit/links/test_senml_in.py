"""From SenML messages to readings by channel."""

import json
from typing import Any

from emberline.bench.samples import FLAG_ARRIVAL_STAMPED
from emberline.links.arrivals import DeviceChannel, Greeting
from emberline.links.mqtt_claims import Claims
from emberline.links.mqtt_messages import Packet
from emberline.links.senml_in import MAX_CHANNELS, SenmlIn

NOON_NS = 1_790_000_000 * 1_000_000_000


def packet(*records: dict[str, Any], number: int = 1, again: bool = False, retained: bool = False) -> Packet:
    return Packet("t/senml", json.dumps(records).encode(), NOON_NS, 0.0, again, retained, "", number)


def test_readings_are_sorted_by_channel_and_time() -> None:
    claims = Claims()
    senml = SenmlIn({}, claims)
    base = {"bn": "urn:dev:mac:0024befffe804ff1/", "bt": 1_790_000_000}
    water, mass = senml.take(
        packet(
            {**base, "n": "water", "u": "K", "v": 300.15, "t": 2},
            {"n": "mass", "u": "kg", "v": 1.25},
            {"n": "water", "u": "K", "v": 299.15},
        )
    )
    assert (water.device, water.channel) == ("urn:dev:mac:0024befffe804ff1", "water")
    assert water.t_ns.tolist() == [NOON_NS, NOON_NS + 2_000_000_000]
    assert [round(value, 6) for value in water.raw] == [26.0, 27.0]
    assert (mass.channel, mass.raw.tolist(), mass.flags.tolist()) == ("mass", [1250.0], [0])
    assert claims.due() == []
    water.teller.committed(0, {})
    assert claims.due() == [1]


def test_a_bench_file_may_name_a_channel_by_its_whole_name_or_its_last_part() -> None:
    senml = SenmlIn({"urn:dev:ow:1": "water", "t1": "flame"}, Claims())
    one, two = senml.take(
        packet({"n": "urn:dev:ow:1", "u": "Cel", "v": 1}, {"n": "urn:dev:ow:2:t1", "u": "Cel", "v": 2})
    )
    assert (one.device, one.channel) == ("urn:dev:ow", "water")
    assert (two.device, two.channel) == ("urn:dev:ow:2", "flame")
    greeting = senml.greeting(None)
    assert greeting is not None
    assert [channel.name for channel in greeting.channels] == ["urn:dev:ow:1", "t1"]


def test_readings_without_a_time_of_their_own_are_marked() -> None:
    senml = SenmlIn({}, Claims())
    (water,) = senml.take(packet({"n": "water", "u": "Cel", "v": 20}, {"n": "water", "u": "Cel", "v": 19, "t": -1}))
    assert water.t_ns.tolist() == [NOON_NS - 1_000_000_000, NOON_NS]
    assert water.flags.tolist() == [FLAG_ARRIVAL_STAMPED] * 2
    assert water.device == "senml"


def test_a_message_without_times_that_the_broker_gives_again_is_left_out() -> None:
    claims = Claims()
    senml = SenmlIn({}, claims)
    record = {"n": "water", "u": "Cel", "v": 20}
    assert len(senml.take(packet(record))) == 1
    assert senml.take(packet(record, number=2, again=True)) == []
    assert claims.due() == [2]
    # Given for the first time, the same bytes are another reading.
    assert len(senml.take(packet(record, number=3))) == 1


def test_what_cannot_be_read_or_is_old_is_counted_and_acknowledged() -> None:
    claims = Claims()
    senml = SenmlIn({}, claims)
    assert senml.take(Packet("t/senml", b"junk", NOON_NS, 0.0, False, False, "", 7)) == []
    assert "no CBOR" in senml.trouble
    assert senml.take(packet({"n": "water", "v": 1}, number=8, retained=True)) == []
    assert senml.take(packet({"n": "name", "vs": "x"}, number=9)) == []
    assert (senml.discarded, senml.passed_over, senml.trouble) == (2, 1, "")
    assert claims.due() == [7, 8, 9]


def test_made_up_names_fill_no_memory() -> None:
    senml = SenmlIn({}, Claims())
    for index in range(MAX_CHANNELS + 10):
        senml.take(packet({"n": f"x{index}", "v": 1}))
    assert senml.discarded == 10


def test_a_channel_is_told_when_it_appears_and_when_its_pace_is_known() -> None:
    senml = SenmlIn({}, Claims())
    paces = []
    for index in range(10):
        senml.take(packet({"n": "water", "u": "Cel", "v": 20, "bt": 1_790_000_000 + 10 * index}))
        if senml.changed:
            greeting = senml.greeting(None)
            assert greeting is not None
            paces.append(greeting.channels[0].period_s)
    assert paces == [1.0, 10.0]


def test_channels_are_added_to_those_of_a_device_with_frames() -> None:
    senml = SenmlIn({}, Claims())
    device = Greeting("dev", 5, "1.0", (DeviceChannel("mass", "g", 0.1, 0.002, 0),), 1.0, 8.0)
    assert senml.greeting(device) is device
    senml.take(packet({"n": "co", "u": "ppm", "v": 3}, {"n": "mass", "u": "g", "v": 3}))
    both = senml.greeting(device)
    assert both is not None
    assert [(channel.name, channel.unit, channel.calibrated) for channel in both.channels] == [
        ("mass", "g", False),
        ("co", "ppm", True),
    ]
