"""How the ESP32's bench is wired up: `main.py` on MicroPython, with a machine and a network that are made up."""

from emberline_wire import Hello, Samples, decode_body
from emberline_wire.framing import unseal
from micropython_fixture import SOURCES, MicroPython


def test_a_bench_says_who_it_is_and_sends_every_channel(micropython: MicroPython) -> None:
    sent = micropython.run("wired.py", files={"/board/main.py": (SOURCES / "main.py").read_text()})
    assert all(qos == 1 for _, _, _, qos in sent)
    assert {topic for topic, _, _, _ in sent} == {f"emberline/v1/bench-1/{name}" for name in ("online", "up", "hello")}
    packets = [bytes.fromhex(one) for topic, one, _, _ in sent if topic.endswith("/up")]
    messages = [message for packet in packets for message in decode_body(unseal(packet))]
    hello = messages[0]
    assert isinstance(hello, Hello)
    assert hello.boot == 0x84030201
    assert [(one.id, one.name, one.serves) for one in hello.channels] == [
        (0, "mass", None),
        (1, "water", None),
        (2, "water_cj", 1),
        (3, "flame", None),
        (4, "flame_cj", 3),
    ]
    found: dict[int, set[tuple[float, int]]] = {}
    counts: dict[int, int] = {}
    for one in messages:
        if isinstance(one, Samples):
            faults = [0] * len(one) if one.faults is None else one.faults.tolist()
            found.setdefault(one.stream, set()).update(zip(one.values.tolist(), faults, strict=True))
            counts[one.stream] = counts.get(one.stream, 0) + len(one)
    assert found == {0: {(84_213, 0)}, 1: {(400, 0)}, 2: {(400, 0)}, 3: {(0, 1)}, 4: {(400, 0)}}
    # Ten a second, five, and one, for at least three seconds.
    assert counts[0] >= 27
    assert counts[1] >= 14
    assert counts[2] >= 3
