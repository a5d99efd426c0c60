"""A bench file for a device that somebody has listened to."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from emberline.bench.bench_file import SerialPort
from emberline.bench.channels import Role, assumed_sensor
from emberline.bench.text_lines import TextLines
from emberline.bench.toml_writing import quoted


@dataclass(frozen=True, slots=True)
class ProposedChannel:
    """A channel of the bench.

    Attributes:
        role: What it measures.
        source: The device's name for it, its column or its label.
        remark: Why it is taken for that.
    """

    role: Role
    source: str
    remark: str = ""


def bench_id_of(name: str) -> str:
    """Return an id for a bench file of a name."""
    return re.sub(r"[^A-Za-z0-9_-]+", "-", name).strip("-_")[:64] or "bench"


def proposal_text(
    bench_id: str, port: SerialPort, channels: Sequence[ProposedChannel], reasons: Mapping[str, str]
) -> str:
    """Return a bench file with remarks, which reads as a bench with these channels on this port.

    Args:
        bench_id: Its id.
        port: Where the device is, and its lines of text if it prints some; their sources are those of the channels.
        channels: Its channels.
        reasons: Why a column is taken for the time, by column.
    """
    lines = [
        "# Written by `emberline doctor`: what was guessed has a remark. `emberline init` shows all other keys.",
        "format = 1",
        f"id = {quoted(bench_id)}",
    ]
    for channel in channels:
        lines += ["", "[[channel]]", f"role = {quoted(channel.role.value)}"]
        if port.lines is not None or channel.source != channel.role.value:
            lines.append(f"source = {quoted(channel.source)}" + _remark(channel.remark))
        lines.append(f"# Assumed: {assumed_sensor(channel.role)}.")
    lines += ["", "[serial]", f"port = {quoted(port.port or '')}", f"baud = {port.baud}"]
    if port.device is not None:
        lines.append(f"device = {quoted(port.device)}  # only this device is accepted")
    if port.lines is not None:
        lines += ["", *_lines_of(port.lines, reasons)]
    return "\n".join(lines) + "\n"


def _lines_of(text_lines: TextLines, reasons: Mapping[str, str]) -> list[str]:
    lines = ["[serial.lines]"]
    if text_lines.columns is not None:
        lines.append(f"columns = {text_lines.columns}")
    if text_lines.time is not None:
        lines.append(f"time = {quoted(text_lines.time)}" + _remark(reasons.get(text_lines.time, "")))
        lines.append(f"time_unit = {quoted(text_lines.time_unit.value)}")
    return lines


def _remark(text: str) -> str:
    # A title in a header may hold anything; a remark ends with its line.
    return f"  # {' '.join(text.split())}" if text else ""
