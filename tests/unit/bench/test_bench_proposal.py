from dataclasses import replace

import pytest

from emberline.bench.bench_file import SerialPort, parse_bench
from emberline.bench.bench_proposal import ProposedChannel, bench_id_of, proposal_text
from emberline.bench.channels import Role, default_channel
from emberline.bench.text_lines import TextLines, TimeUnit


def test_a_proposal_reads_as_the_bench_that_was_found() -> None:
    lines = TextLines(("2", "4"), 5, "1", TimeUnit.MICROSECONDS)
    port = SerialPort("/dev/serial/by-id/usb-x", baud=9600, lines=lines)
    channels = [ProposedChannel(Role.WATER, "2", "a guess"), ProposedChannel(Role.MASS, "4")]
    text = proposal_text("shed", port, channels, {"1": "grows by 1e6 a second"})
    bench = parse_bench(text)
    assert bench.id == "shed"
    assert bench.serial == port
    assert bench.channels == (
        replace(default_channel(Role.WATER), source="2"),
        replace(default_channel(Role.MASS), source="4"),
    )
    assert 'source = "2"  # a guess' in text
    assert "# grows by 1e6 a second" in text


def test_a_device_with_frames_is_held_to_its_id() -> None:
    port = SerialPort("/dev/ttyACM0", device="yard-1", baud=115_200)
    bench = parse_bench(proposal_text("yard", port, [ProposedChannel(Role.MASS, "mass")], {}))
    assert bench.serial == port
    assert bench.channels == (default_channel(Role.MASS),)


def test_labels_may_hold_anything() -> None:
    label = 'Scale "A" \\ # ü'
    port = SerialPort("/dev/x", lines=TextLines((label,)))
    bench = parse_bench(proposal_text("b", port, [ProposedChannel(Role.MASS, label, "called\nid = 5")], {}))
    assert bench.channels[0].source == label
    assert bench.id == "b"


@pytest.mark.parametrize(("name", "bench_id"), [("shed 2", "shed-2"), ("bench", "bench"), ("ü", "bench"), ("-a", "a")])
def test_a_file_s_name_makes_an_id(name: str, bench_id: str) -> None:
    assert bench_id_of(name) == bench_id
