"""Input for parsers: sound examples, and what becomes of them when bytes are lost, doubled, exchanged or made up."""

import json
import re
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import cbor2

from emberline.bench.bench_template import bench_template
from emberline_wire import encode_frame, seal

ROOT = Path(__file__).parents[3]
VECTORS = ROOT / "firmware_protocol" / "vectors"
MOST_CHANGES = 6
LONGEST_INSERT = 40


@cache
def bodies() -> tuple[bytes, ...]:
    """Return the bodies of all golden frames, sound and malformed ones."""
    found: list[bytes] = []
    for name in ("frames", "unusual", "malformed", "bodies"):
        listed = json.loads((VECTORS / f"{name}.json").read_text(encoding="utf-8"))["frames"]
        found += [bytes.fromhex(frame["body"]) for frame in listed if "body" in frame]
    assert len(found) > 20
    return tuple(found)


def frames() -> tuple[bytes, ...]:
    """Return those bodies as frames for a serial line."""
    return tuple(encode_frame(body) for body in bodies() if len(body) < 400)


def packets() -> tuple[bytes, ...]:
    """Return those bodies as they come through a broker."""
    return tuple(seal(body) for body in bodies())


# RFC 8428, sections 5.1.1 to 5.1.3: a single reading, several with base fields, and times of their own.
SENML: tuple[list[dict[str, Any]], ...] = (
    [{"n": "urn:dev:ow:10e2073a01080063", "u": "Cel", "v": 23.1}],
    [
        {"bn": "urn:dev:ow:10e2073a01080063:", "n": "voltage", "u": "V", "v": 120.1},
        {"n": "current", "u": "A", "v": 1.2},
    ],
    [
        {
            "bn": "urn:dev:ow:10e2073a0108006:",
            "bt": 1.276020076001e9,
            "bu": "A",
            "bver": 5,
            "n": "voltage",
            "u": "V",
            "v": 120.1,
        },
        {"n": "current", "t": -5, "v": 1.2},
        {"n": "current", "t": -4, "v": 1.3},
    ],
    [
        {"bn": "yard/", "bt": 1.7e9},
        {"n": "mass", "u": "g", "v": 1500.25},
        {"n": "lid", "vb": True},
        {"n": "x", "vs": "on"},
    ],
)
LABELS = {"bver": -1, "bn": -2, "bt": -3, "bu": -4, "bv": -5, "n": 0, "u": 1, "v": 2, "vs": 3, "vb": 4, "t": 6, "ut": 7}


def senml() -> tuple[bytes, ...]:
    """Return packs as JSON and as CBOR."""
    named = [json.dumps(pack).encode() for pack in SENML]
    labelled = [
        cbor2.dumps([{LABELS[key]: value for key, value in record.items()} for record in pack]) for pack in SENML
    ]
    return (*named, *labelled)


PLAN = (
    (ROOT / "host" / "docs" / "how-to" / "plan.md")
    .read_text(encoding="utf-8")
    .partition("```toml\n")[2]
    .partition("```")[0]
    .encode()
)
BENCH = bench_template().encode()
PLAN_TABLES = (
    (
        b"file;label;factors.holes;fuel.mass_g;fuel.moisture_wet;fuel.lhv_dry_j_g;pot.lid;refuel.1.mass_g\n"
        b'# of the recording;"its; name";;;;;;\n'
        b'a.csv;"Buche, ""trocken""";12;310,5;0,11;18.400;yes;60\nb.csv;;8;;;;no;\n'
    ),
    (
        b"file,series,run,fuel.u_mass_g,fuel.mass_g,pot.visit.1.water_g,pot.visit.2.water_g,place.altitude_m\r\n"
        b'a.csv,holes-1,1,0.2,"1,310.5",500,500,-5\r\nb.csv,holes-1,2,,1e2,250,,\xe2\x88\x925\r\n'
    ),
)
MORE_PLAN = b"""
factors = { fuel = "chips", holes = "12" }
[pot]
tare_g = 412.0
u_tare_g = 0.5
material = "steel"
[[pot.visit]]
water_g = 500.0
final_water_g = 431.5
[[refuel]]
mass_g = 60.0
moisture_dry = 0.12
lot = "pellets"
"""
MORE_BENCH = b"""
id = "shed"
[[channel]]
role = "mass"
[[channel.point]]
load = 0.0
counts = 100
[[channel.point]]
load = 1000.0
counts = 420100
[[channel]]
role = "water"
[channel.thermocouple]
kind = "K"
class = 1
[serial]
port = "/dev/serial/by-id/x"
baud = 115200
[serial.lines]
time = "t"
time_unit = "s"
"""
TABLES = (
    b"time_s,water_c,mass_g\n0,20.5,1500\n1,20.6,1499.5\n2,20.8,\n3,,1499.0\n",
    b"Zeit;Wasser (\xb0C);Masse [kg]\n00:00:01;20,5;1,5\n00:00:02;20,6;1,4995\n",
    "Time\tWater\tMass\n2026-11-25T12:00:00Z\t68 °F\t3.3 lb\n2026-11-25T12:00:01+01:00\t69\t3.2\n".encode("utf-16"),
    b'"t","water","flame"\r\n1764072000.5,20,"1,000"\r\n1764072001.5,nan,850\r\ntext\r\n"t","water","flame"\r\n5,5,5\r\n',
)
LINES = (
    b"s,water,mass\r\n" + b"".join(b"%d,%.2f,%.1f\r\n" % (500 * k, 20 + k, 1000 - k) for k in range(12)),
    b"x\n20.5 1000\n20,6 999,9\n21;998\n# note\nnan 998\n22\t997\n23.5C,996 g\n",
    b'\nt=1000 water=20.5 mass=1000.1\n{"t": 2000, "water": 21, "mass": 999}\nt:3000,mass:998 g\nt=4000 water=open\n',
    b"4294966000,20,1000\r4294967000,20,1000\r704,20,1000\r1704,20,1000\r400,20,1000\r1400,20,1000\r",
)
DOCUMENTS = (
    b'{"do": "arm", "plan": "", "label": null}\n',
    b'{"do": "note", "text": "closed two air holes"}\n',
    b'{"device": "b1", "boot": 7, "wanted": {"0": 12, "3": 4}, "clock": {"comparisons": [], "wraps": 0}}',
)
TOKENS = (
    *(
        b"[" * 3000,
        b"{" * 3000,
        b"1" * 5000,
        b"1e400",
        b"-1e-400",
        b"nan",
        b"-inf",
        b"\xff\xfe",
        b"\xef\xbb\xbf",
        b"\0",
    ),
    *(
        b'"',
        b"'''",
        b'"""',
        b"\\u0000",
        b"\\ud800",
        b"\r\n",
        b"\n\n",
        b",",
        b";",
        b"\t",
        b"=",
        b"[[channel]]\n",
        b"[fuel]\n",
    ),
    *(
        b"9999-12-31T23:59:59Z",
        b"0001-01-01",
        b"25:61:61",
        b"18446744073709551616",
        b"-9223372036854775809",
        b"true",
        b"null",
    ),
    *(
        b"\xfb\x7f\xf8\0\0\0\0\0\0",
        b"\xf9\x7e\0",
        b"\xc2\x49\xff\xff\xff\xff\xff\xff\xff\xff\xff",
        b"\xd8\x1d\0",
        b"\xc4\x82",
    ),
    *(
        b"\x9b\xff\xff\xff\xff\xff\xff\xff\xff",
        b"\xbf",
        b"\xff",
        b"\x9f" * 600,
        b"\x81" * 600,
        b"\xd8\x40\x41\0",
        b"\xd8\x4e\x44",
    ),
)


class Recipe:
    """Random bytes read as choices; once they are used up every choice is the first, so that all bytes make an input.

    That takes microseconds, and Hypothesis can still make the bytes, and shrink them.
    """

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    def below(self, end: int) -> int:
        """Return a number from 0 to `end - 1`."""
        return int.from_bytes(self.some(2), "little") % max(1, end)

    def some(self, count: int) -> bytes:
        """Return some of the bytes themselves, fewer at the end."""
        self._at += count
        return self._data[self._at - count : self._at]


Make = Callable[[bytes], bytes]


def damaged(examples: Sequence[bytes]) -> Make:
    """Make of random bytes an example in which bytes were lost, doubled, exchanged, made up, or taken from another."""

    def make(data: bytes) -> bytes:
        recipe = Recipe(data)
        made = bytearray(examples[recipe.below(len(examples))])
        for _ in range(recipe.below(MOST_CHANGES + 1)):
            start = recipe.below(len(made) + 1)
            end = min(len(made), start + recipe.below(9))
            match recipe.below(6):
                case 0:
                    made[start:end] = recipe.some(recipe.below(LONGEST_INSERT))
                case 1:
                    made[start:end] = TOKENS[recipe.below(len(TOKENS))]
                case 2:
                    made[start:start] = made[start:end]
                case 3:
                    del made[start:end]
                case 4:
                    other = examples[recipe.below(len(examples))]
                    made[start:] = other[recipe.below(len(other)) :]
                case _ if start < len(made):
                    made[start] ^= 1 << recipe.below(8)
        return bytes(made)

    return make


_WORD = re.compile(rb"[A-Za-z_]+|[0-9.]+|\s+|.", re.DOTALL)


def reworded(examples: Sequence[bytes]) -> Make:
    """Make of random bytes a text of which whole words were exchanged, so that more of it stays well formed."""
    texts = [_WORD.findall(example) for example in examples]

    def make(data: bytes) -> bytes:
        recipe = Recipe(data)
        words = list(texts[recipe.below(len(texts))])
        for _ in range(recipe.below(MOST_CHANGES + 1)):
            at, other = recipe.below(len(words)), recipe.below(len(words))
            choices = (words[other], b"", b"-", b"0", b"1e9", b"0.5", b'"x"', b"\n", words[at] * 2)
            words[at] = choices[recipe.below(len(choices))]
        return b"".join(words)

    return make


def one_after_the_other(make: Make, most: int) -> Make:
    """Make of random bytes several inputs in a row."""

    def several(data: bytes) -> bytes:
        recipe = Recipe(data)
        return b"".join(make(recipe.some(len(data) // most)) for _ in range(recipe.below(most + 1)))

    return several


def either(*makes: Make) -> Make:
    """Make an input in one of several ways."""
    return lambda data: makes[data[0] % len(makes) if data else 0](data[1:])


def as_it_is(data: bytes) -> bytes:
    """Take the random bytes themselves."""
    return data
