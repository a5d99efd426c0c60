"""How much of a serial line a device's samples take.

A line that is nearly full has no room to send again what was lost, so a host refuses a device above `MAX_LOAD`.
"""

from emberline_wire.device_messages import Hello
from emberline_wire.errors import LineTooSlowError

BITS_PER_BYTE = 10
"""One start bit, eight data bits, one stop bit."""
FRAME_OVERHEAD_BYTES = 56
"""All of a sample frame but its arrays, at the largest numbers: 2 delimiters, 2 of COBS, 4 of CRC, 48 of CBOR."""
SAMPLE_BYTES = 6
"""A 32-bit value and the offset of its time."""
MAX_ARRAY_BYTES = 448
"""What is left of a body for the arrays; more samples need another frame."""
OTHER_BYTES_PER_S = 40
"""A pong and a status now and then, at the rates of the early pings."""
MAX_LOAD = 0.6
"""Share of the line that samples may take; the rest is for sending again."""


def bytes_per_second(hello: Hello) -> float:
    """Return what the device of `hello` sends in a second, at most, while nothing is lost."""
    frame_s = hello.frame_period_ms * 1e-3
    total = float(OTHER_BYTES_PER_S)
    for channel in hello.channels:
        rate_hz = 1e6 / channel.period_us
        frames_per_s = min(1.0 / frame_s, rate_hz) + rate_hz * SAMPLE_BYTES / MAX_ARRAY_BYTES
        total += rate_hz * SAMPLE_BYTES + frames_per_s * FRAME_OVERHEAD_BYTES
    return total


def line_load(hello: Hello, baud: int) -> float:
    """Return the share of a line of `baud` bits a second that the device of `hello` takes."""
    return bytes_per_second(hello) * BITS_PER_BYTE / baud


def check_line(hello: Hello, baud: int) -> None:
    """Check that a line has room for the samples of `hello` and for sending some of them again.

    Raises:
        LineTooSlowError: It has not; the text says what would help.

    """
    load = line_load(hello, baud)
    if load > MAX_LOAD:
        raise LineTooSlowError(
            f"{hello.device} fills {load:.0%} of a line of {baud} baud, and above {MAX_LOAD:.0%} nothing lost could be "
            "sent again: use a faster line, or sample less often"
        )
