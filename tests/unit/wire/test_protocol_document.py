"""PROTOCOL.md says what the code does: limits, keys, kinds, fault bits, room on the line, errors."""

import json
import re
from pathlib import Path

import numpy as np
import pytest

from emberline_wire import Channel, DeviceFlag, Fault, Hello, Kind, Samples, errors, limits
from emberline_wire.budget import FRAME_OVERHEAD_BYTES, MAX_LOAD, SAMPLE_BYTES, bytes_per_second, line_load
from emberline_wire.decoding import FROM_DEVICE, FROM_HOST
from emberline_wire.messages import Message

FOLDER = Path(__file__).parents[3] / "firmware_protocol"
TEXT = (FOLDER / "PROTOCOL.md").read_text(encoding="utf-8")
CDDL = (FOLDER / "protocol.cddl").read_text(encoding="utf-8")
VECTORS = json.loads((FOLDER / "vectors" / "frames.json").read_text())["frames"]


def section(title: str) -> str:
    """Return what follows `title` up to the next heading, message or paragraph that begins a new table."""
    return re.split(r"^#+ |^\*\*\w+\*\* \(type|^A channel is", TEXT.split(title, 1)[1], maxsplit=1, flags=re.M)[0]


def test_limits() -> None:
    stated = {name: int(value) for name, value in re.findall(r"^\| `(\w+)` \| (\d+) \|", section("## 3. Limits"), re.M)}
    assert stated == {name: getattr(limits, name) for name in stated}
    assert len(stated) == 16


@pytest.mark.parametrize("kind", [*FROM_DEVICE.values(), *FROM_HOST.values()], ids=lambda kind: kind.__name__)
def test_every_message_and_its_type(kind: type[Message]) -> None:
    name = kind.__name__
    assert f"**{name}** (type {kind.TYPE})" in TEXT or f"| {kind.TYPE} | **{name}** |" in TEXT
    rule = re.sub(r"(?<!^)(?=[A-Z])", "-", name).lower()
    assert re.search(rf"^{rule} = \{{\s*0 => {kind.TYPE},", CDDL, re.M)


@pytest.mark.parametrize("kind", FROM_DEVICE.values(), ids=lambda kind: kind.__name__)
def test_the_keys_of_every_message_from_the_device(kind: type[Message]) -> None:
    stated = dict(re.findall(r"^\| (\d) \| `(\w+)` \|", section(f"**{kind.__name__}** (type {kind.TYPE})"), re.M))
    checked = set()
    for vector in VECTORS:
        if vector["message"] != kind.__name__:
            continue
        keys = kind.from_bytes(bytes.fromhex(vector["body"])).to_fields()
        assert {str(key) for key in keys} == set(stated)
        fields = {**vector["fields"], "version": limits.PROTOCOL_VERSION}
        for key, name in stated.items():
            if isinstance(keys[int(key)], int | str):
                assert keys[int(key)] == fields[name]
                checked.add(name)
    assert checked >= set(stated.values()) - {"channels", "offsets", "values", "faults"}


def test_kinds_and_fault_bits() -> None:
    stated = re.findall(r"^\| (\d) \| `([a-z-]+)`[^|]*\| (\S+) \|$", TEXT.split("| kind | raw values")[1], re.M)
    units = {"g": "g", "c": "°C", "pa": "Pa", "ppm": "ppm"}
    assert stated[: len(Kind)] == [(str(int(k)), k.name.lower().replace("_", "-"), units[k.unit]) for k in Kind]
    assert [int(bit) for bit in re.findall(r"(\d+) (?:lead|shorted|converter|cold)", TEXT.split("Fault bits:")[1])][
        :6
    ] == list(Fault)
    assert all(re.search(rf"\b{flag.value} (?:sampling|samples were|this boot)", TEXT) for flag in DeviceFlag)
    for kind in Kind:
        assert f"{kind.name.lower().replace('_', '-')}: {int(kind)}," in CDDL


def test_room_on_the_line() -> None:
    """The table of section 10, from the bench it names."""
    thermocouple = Kind.THERMOCOUPLE_LINEARISED
    rows = re.findall(r"^\| (\d+) Hz \| ([\d.]+) s \| (\d+) \| ([\d.]+) % \| ([\d.]+) % \|", TEXT, re.M)
    assert len(rows) == 4
    for rate_hz, frame_s, total, fast, slow in rows:
        hello = Hello(
            1,
            "d",
            "1",
            (
                Channel(0, "mass", Kind.BRIDGE_COUNTS, 1_000_000 // int(rate_hz), 0.0024),
                Channel(1, "water", thermocouple, 250_000, 0.25),
                Channel(2, "water_cj", Kind.COLD_JUNCTION, 1_000_000, 0.0625, serves=1),
                Channel(3, "flame", thermocouple, 250_000, 0.25),
                Channel(4, "flame_cj", Kind.COLD_JUNCTION, 1_000_000, 0.0625, serves=3),
                Channel(5, "ambient", Kind.TEMPERATURE, 2_000_000, 0.0625),
            ),
            0,
            round(float(frame_s) * 1000),
            8000,
        )
        assert bytes_per_second(hello) == pytest.approx(float(total), abs=0.51)
        assert 100 * line_load(hello, 115_200) == pytest.approx(float(fast), abs=0.051)
        assert 100 * line_load(hello, 57_600) == pytest.approx(float(slow), abs=0.051)
    assert f"{SAMPLE_BYTES} bytes a sample" in TEXT
    assert f"and {FRAME_OVERHEAD_BYTES} for each frame" in TEXT
    assert f"Above {MAX_LOAD:.0%}".replace("%", " %") in TEXT


def test_what_samples_take_of_a_frame() -> None:
    """What section 6 says, with the largest numbers; heads of shorter arrays take a byte or two less."""
    stated = re.search(r"at most (\d+) bytes and, for each.*take (\d+) of the (\d+) bytes at most", TEXT, re.S)
    assert stated is not None
    head, four, most = map(int, stated.groups())
    for count in (1, 10, 60):
        taken = len(
            Samples(
                limits.U32_MAX,
                limits.MAX_STREAM_ID,
                limits.U32_MAX - limits.MAX_SAMPLES,
                limits.U32_MAX,
                np.full(count, limits.I32_MIN, np.int32),
                limits.U32_MAX - limits.MAX_SAMPLES,
                offsets=np.full(count, 0xFFFF, np.uint16),
                faults=np.full(count, 63, np.uint8),
            ).to_bytes()
        )
        assert head - 5 <= taken - 7 * count <= head
    assert four == 4 * (head + 7 * 10)
    assert four <= most == limits.MAX_BODY_BYTES


def test_errors() -> None:
    stated = set(re.findall(r"^\| `(\w+)` \|", TEXT.split("## 12. Errors")[1], re.M))
    leaves = {
        name
        for name, kind in vars(errors).items()
        if isinstance(kind, type) and issubclass(kind, errors.FrameError | errors.MessageError)
    } - {"FrameError", "MessageError"}
    assert stated == leaves
    malformed = json.loads((FOLDER / "vectors" / "malformed.json").read_text())["frames"]
    assert {vector["error"] for vector in malformed} == leaves


def test_the_bytes_of_the_examples() -> None:
    frames = {vector["name"]: bytes.fromhex(vector["frame"]) for vector in VECTORS}
    spaced = {name: frame.hex(" ") for name, frame in frames.items()}
    assert spaced["samples, one thermocouple code"] in TEXT
    listing = TEXT.split("identify, version 1\n")[1].split("samples of stream 0")[0]
    shown = re.findall(r"^ ((?:[0-9a-f]{2} )+) ", listing, re.M)
    assert "".join(shown).strip() == spaced["identify"]
