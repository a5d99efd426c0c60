"""Draws the guide's pictures next to this file, `wiring.svg`, `bench.svg` and `probe.svg`, and its table of pins.

The wiring is that of the firmware: its pins are read from `pins.h`. Nothing in a picture is fetched from anywhere.
"""

import re
from collections.abc import Mapping, Sequence
from pathlib import Path

HERE = Path(__file__).parent
PINS = HERE.parents[1] / "firmware_protocol" / "firmware" / "emberline_bench" / "pins.h"

NAMESPACE = "http://www.w3.org/2000/svg"
TABLE = r"\| board \| part \| its pin \|\n\|---\|---\|---\|"
INK, SOFT, FILL, WARM, COLD, WATER = "#1c1c1c", "#6b6b6b", "#f3f1ec", "#b5482a", "#2a5d8a", "#a9cbe0"
_STYLE = (
    "text { font-family: 'DejaVu Sans', Verdana, sans-serif; font-size: 14px; "
    f"fill: {INK}; }} .small {{ font-size: 12px; }} .title {{ font-weight: bold; }}"
)


def board_pin(port: str) -> str:
    """Return the name that a board with an ATmega328P prints beside a port's pin, such as `D2` for PD2."""
    letter, number = port[1], int(port[2])
    return {"D": f"D{number}", "B": f"D{8 + number}", "C": f"A{number}"}[letter]


def pins(text: str) -> dict[str, str]:
    """Return the board's pins by what the firmware calls them; the two-wire bus is where the chip has it."""
    named = dict(re.findall(r"#define (\w+) (P[BCD]\d)\b", text))
    return {name: board_pin(port) for name, port in {**named, "BUS_DATA": "PC4", "BUS_CLOCK": "PC5"}.items()}


def pin_rows(at: Mapping[str, str]) -> list[tuple[str, str, str]]:
    """Return the wires between board and parts: the board's pin, the part, the part's pin."""
    return [
        (at["BRIDGE_DATA"], "bridge converter (HX711)", "DOUT"),
        (at["BRIDGE_CLOCK"], "bridge converter (HX711)", "PD_SCK"),
        (at["BRIDGE_RATE"], "bridge converter (HX711)", "RATE"),
        (at["SPI_CLOCK"], "both thermocouple converters", "SCK"),
        (at["SPI_IN"], "both thermocouple converters", "SO (SDO)"),
        (at["SPI_OUT"], "both thermocouple converters, MAX31856 only", "SDI"),
        (at["WATER_SELECT"], "thermocouple converter of the water", "CS"),
        (at["FLAME_SELECT"], "thermocouple converter of the flame", "CS"),
        (at["BUS_DATA"], "barometer (BME280), where fitted", "SDA"),
        (at["BUS_CLOCK"], "barometer (BME280), where fitted", "SCL"),
    ]


def text(x: float, y: float, words: str, *, anchor: str = "start", kind: str = "") -> str:
    """Return a text."""
    extra = f' class="{kind}"' if kind else ""
    return f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}"{extra}>{words}</text>'


def box(
    x: float, y: float, width: float, height: float, *, fill: str = FILL, stroke: str = INK, round_px: float = 6
) -> str:
    """Return a box."""
    size = f'width="{width:g}" height="{height:g}" rx="{round_px:g}"'
    return f'<rect x="{x:g}" y="{y:g}" {size} fill="{fill}" stroke="{stroke}" stroke-width="1.5"/>'


def wire(points: Sequence[tuple[float, float]], *, colour: str = INK, width: float = 2.0, dashes: str = "") -> str:
    """Return a line through points."""
    path = " ".join(f"{x:g},{y:g}" for x, y in points)
    dashed = f' stroke-dasharray="{dashes}"' if dashes else ""
    return f'<polyline points="{path}" fill="none" stroke="{colour}" stroke-width="{width:g}"{dashed}/>'


def lead(path: str) -> str:
    """Return a probe's lead along a path."""
    return f'<path d="{path}" fill="none" stroke="{INK}" stroke-width="1.5"/>'


def label(x: float, y: float, at: tuple[float, float], lines: Sequence[str], *, anchor: str = "start") -> str:
    """Return words with a thin line to what they are about; the line begins at their first line."""
    start = (x - 4, y - 4) if anchor == "start" else (x + 4, y - 4)
    words = [text(x, y + 16 * row, line, anchor=anchor, kind="small") for row, line in enumerate(lines)]
    return "\n".join([wire([start, at], colour=SOFT, width=1.0), *words])


def sheet(width: int, height: int, title: str, parts: Sequence[str]) -> str:
    """Return a whole picture; its title is what a reader who cannot see it hears."""
    return "\n".join(
        [
            f'<svg viewBox="0 0 {width} {height}" width="{width}" height="{height}" role="img" xmlns="{NAMESPACE}">',
            f"<title>{title}</title>",
            f"<style>{_STYLE}</style>",
            f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
            *parts,
            "</svg>\n",
        ]
    )


def wiring(at: Mapping[str, str]) -> str:
    """Return which wire goes where."""
    parts = [
        box(380, 70, 200, 470),
        text(480, 96, "microcontroller board", anchor="middle", kind="title"),
        text(480, 114, "ATmega328P, 16 MHz, 5 V", anchor="middle", kind="small"),
        box(445, 524, 70, 30, fill="#ffffff"),
        text(480, 544, "USB", anchor="middle"),
        wire([(480, 554), (480, 590)], width=3),
        text(492, 588, "to the computer", kind="small"),
    ]
    # The load cell's side.
    parts += [
        box(170, 150, 150, 156),
        text(245, 174, "bridge converter", anchor="middle", kind="title"),
        text(245, 192, "HX711", anchor="middle", kind="small"),
        box(20, 190, 90, 92),
        text(65, 182, "load cell", anchor="middle", kind="title"),
    ]
    for row, (cell, colour) in enumerate((("E+", WARM), ("E−", INK), ("S+", COLD), ("S−", SOFT))):
        y = 206 + 20 * row
        parts += [
            text(102, y + 4, cell, anchor="end", kind="small"),
            wire([(110, y), (170, y)], colour=colour),
            text(176, y + 4, ("E+", "E−", "A+", "A−")[row], kind="small"),
        ]
    for row, (name, pin) in enumerate((("VCC", "5V"), ("GND", "GND"), ("DOUT", at["BRIDGE_DATA"]))):
        parts += _between(320, 206 + 22 * row, 380, name, pin, WARM if row == 0 else INK if row == 1 else COLD)
    parts += _between(320, 272, 380, "PD_SCK", at["BRIDGE_CLOCK"], COLD)
    parts += _between(320, 292, 380, "RATE", at["BRIDGE_RATE"], COLD)
    # The barometer.
    parts += [
        box(190, 370, 130, 118),
        text(255, 393, "barometer", anchor="middle", kind="title"),
        text(255, 410, "BME280, if fitted", anchor="middle", kind="small"),
    ]
    for row, (name, pin, colour) in enumerate(
        (("VIN", "5V", WARM), ("GND", "GND", INK), ("SDA", at["BUS_DATA"], COLD), ("SCL", at["BUS_CLOCK"], COLD))
    ):
        parts += _between(320, 424 + 18 * row, 380, name, pin, colour)
    # The probes' side; both converters share the bus.
    for top, which, select in ((130, "water", at["WATER_SELECT"]), (330, "flame", at["FLAME_SELECT"])):
        parts += [
            box(690, top, 170, 172),
            text(775, top + 22, f"thermocouple, {which}", anchor="middle", kind="title small"),
            text(775, top + 39, "MAX31855 or MAX31856", anchor="middle", kind="small"),
        ]
        lines = (
            ("VIN", "5V", WARM),
            ("GND", "GND", INK),
            ("SCK", at["SPI_CLOCK"], COLD),
            ("SO, SDO", at["SPI_IN"], COLD),
            ("SDI", at["SPI_OUT"], COLD),
            ("CS", select, COLD),
        )
        for row, (name, pin, colour) in enumerate(lines):
            y = top + 60 + 18 * row
            dashes = "5 4" if name == "SDI" else ""
            parts += [
                wire([(580, y), (690, y)], colour=colour, dashes=dashes),
                text(574, y + 4, pin, anchor="end", kind="small"),
                text(696, y + 4, name, kind="small"),
            ]
        parts += [
            wire([(860, top + 80), (915, top + 80), (940, top + 92)], colour=WARM),
            wire([(860, top + 104), (915, top + 104), (940, top + 92)], colour=COLD),
            f'<circle cx="940" cy="{top + 92}" r="5" fill="{INK}"/>',
            text(866, top + 74, "T+", kind="small"),
            text(866, top + 120, "T−", kind="small"),
            text(940, top + 116, "tip", anchor="middle", kind="small"),
        ]
    parts += [
        text(20, 24, "Wiring", kind="title"),
        text(20, 42, "Red: supply; black: ground; blue: signals; dashed: only with a MAX31856.", kind="small"),
        text(600, 580, "MAX parts are for 3.3 V: take boards with a regulator", kind="small"),
        text(600, 597, "and level shifting, or a 3.3 V microcontroller.", kind="small"),
    ]
    return sheet(990, 610, "Wiring of load cell, thermocouples and barometer to the microcontroller board", parts)


def _between(x_from: float, y: float, x_to: float, name: str, pin: str, colour: str) -> list[str]:
    return [
        wire([(x_from, y), (x_to, y)], colour=colour),
        text(x_from - 6, y + 4, name, anchor="end", kind="small"),
        text(x_to + 6, y + 4, pin, kind="small"),
    ]


def bench() -> str:
    """Return the bench from the side: what stands on what, and what keeps heat and wind off the load cell."""
    parts = [
        text(20, 24, "The bench from the side", kind="title"),
        # Ground, levelled plate, the cell between two plates that touch it at one end each.
        box(60, 520, 700, 16, fill="#d9d5cb"),
        box(250, 492, 330, 14, fill="#c4c4c4", round_px=2),
        box(270, 468, 60, 24, fill="#c4c4c4", round_px=2),
        box(270, 440, 290, 28, fill="#e4e4e4", round_px=4),
        f'<circle cx="400" cy="454" r="9" fill="#ffffff" stroke="{INK}"/>',
        f'<circle cx="430" cy="454" r="9" fill="#ffffff" stroke="{INK}"/>',
        box(500, 416, 60, 24, fill="#c4c4c4", round_px=2),
        box(290, 402, 250, 14, fill="#c4c4c4", round_px=2),
        # Shield, air gap, board.
        *(box(x, 372, 12, 30, fill="#e4e4e4", round_px=0) for x in (304, 409, 514)),
        box(280, 364, 270, 8, fill="#ffffff", round_px=1),
        box(300, 344, 230, 20, fill="#e9dcc3", round_px=2),
        # Stove with fire, pot stand, pot.
        box(350, 210, 130, 134, fill="#efefef", round_px=3),
        f'<path d="M375,270 q10,-50 25,-20 q12,-45 25,0 q18,-30 30,20 z" fill="{WARM}" opacity="0.75"/>',
        *(box(x, 318, 10, 10, fill="#ffffff", round_px=5) for x in (362, 390, 418, 446)),
        *(box(x, 196, 8, 14, fill="#777777", round_px=0) for x in (362, 411, 460)),
        box(335, 96, 160, 100, fill="#ffffff", round_px=3),
        f'<rect x="338" y="126" width="154" height="67" fill="{WATER}"/>',
        # Probe with its lead over a stand of its own.
        wire([(415, 160), (415, 64)], colour=INK, width=3),
        lead("M415,64 C420,30 470,36 540,42 C660,52 660,150 620,150 C585,148 600,100 630,130 C650,150 655,200 655,252"),
        wire([(655, 250), (655, 520)], colour="#8a6d3b", width=6),
        box(620, 505, 70, 14, fill="#8a6d3b", round_px=2),
        box(672, 400, 80, 50),
        text(712, 422, "converters", anchor="middle", kind="small"),
        text(712, 438, "and board", anchor="middle", kind="small"),
        lead("M655,300 C690,310 700,340 705,400"),
        wire(
            [(270, 454), (235, 470), (235, 486), (215, 500), (560, 512), (690, 490), (700, 450)],
            width=1.2,
            dashes="4 3",
        ),
        # Windbreak.
        wire([(150, 60), (150, 520)], colour="#8a6d3b", width=5),
    ]
    parts += [
        *(
            label(4, y, at, lines, anchor="end")
            for y, at, lines in (
                (80, (150, 100), ["windbreak on three sides,", "higher than the pot, half", "a metre from the flame"]),
                (320, (300, 354), ["ceramic board"]),
                (350, (280, 368), ["polished sheet on spacers:", "air flows below it"]),
                (
                    420,
                    (270, 446),
                    ["load cell: held at one end,", "loaded at the other, free", "between; nothing touches it"],
                ),
                (504, (250, 500), ["firm, level plate"]),
            )
        ),
        label(520, 100, (495, 130), ["pot in the middle"]),
        label(
            700,
            140,
            (622, 140),
            ["lead hangs in a slack", "loop from a stand", "beside the scale: it", "must not pull or push"],
        ),
        label(700, 340, (655, 360), ["stand on the table"]),
        label(430, 562, (450, 513), ["the cell's cable: away from heat, taped to the table"]),
    ]
    moved = ['<g transform="translate(200 0)">', *parts[1:], "</g>"]
    title = "The bench from the side: stove and pot on a shielded load cell, the probe's lead on its own stand"
    return sheet(1060, 580, title, [parts[0], *moved])


def probe() -> str:
    """Return where the probe's tip hangs in the pot."""
    parts = [
        text(20, 24, "The probe in the pot", kind="title"),
        box(150, 90, 260, 210, fill="#ffffff", round_px=4),
        f'<rect x="153" y="150" width="254" height="147" fill="{WATER}"/>',
        wire([(100, 60), (460, 60)], colour="#8a6d3b", width=6),
        wire([(280, 60), (280, 232)], width=4),
        f'<circle cx="280" cy="234" r="5" fill="{INK}"/>',
        lead("M280,60 C285,30 330,36 400,40 C520,46 500,130 470,120 C440,108 480,70 510,150"),
        wire([(130, 234), (130, 297)], colour=SOFT, width=1.0),
        wire([(125, 234), (135, 234)], colour=SOFT, width=1.0),
        wire([(125, 297), (135, 297)], colour=SOFT, width=1.0),
        text(120, 262, "about 5 cm,", anchor="end", kind="small"),
        text(120, 278, "or half the depth", anchor="end", kind="small"),
        text(120, 294, "of less water", anchor="end", kind="small"),
        label(520, 190, (283, 190), ["in water for seven times", "its diameter at least"]),
        label(520, 250, (286, 236), ["tip in the middle: off the", "bottom, the wall and the surface"]),
        label(520, 60, (462, 60), ["bar on a stand of its own:", "the pot carries no weight of it"]),
        label(520, 130, (478, 96), ["slack loop"]),
    ]
    return sheet(
        780, 330, "The probe in the pot: its tip in the middle of the water, held by a bar beside the scale", parts
    )


def with_pins(guide: str) -> str:
    """Return the guide with its table of pins renewed."""
    rows = "".join(f"| {board} | {part} | {pin} |\n" for board, part, pin in pin_rows(board_pins()))
    return re.sub(f"({TABLE}\n)(?:\\|.*\n)*", lambda found: found[1] + rows, guide)


def board_pins() -> dict[str, str]:
    """Return the board's pins as the firmware has them."""
    return pins(PINS.read_text(encoding="utf-8"))


def pictures() -> dict[str, str]:
    """Return all pictures by the names of their files."""
    at = board_pins()
    return {"wiring.svg": wiring(at), "bench.svg": bench(), "probe.svg": probe()}


if __name__ == "__main__":
    for name, picture in pictures().items():
        (HERE / name).write_text(picture, encoding="utf-8")
    guide = HERE / "README.md"
    guide.write_text(with_pins(guide.read_text(encoding="utf-8")), encoding="utf-8")
