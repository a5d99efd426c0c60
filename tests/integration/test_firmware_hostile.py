"""Whatever comes down the line, the firmware on an emulated core counts it, keeps sampling, and does not start anew."""

import json
import random
from pathlib import Path

from benchmarks.wire_c.compare import damage
from benchmarks.wire_c.messages import message
from emberline_wire import Samples, Start, Status, encode_frame
from emberline_wire.limits import MAX_HOST_FRAME_BYTES
from emulated_fixture import Board, Boards
from wire_c_fixture import told

VECTORS = Path(__file__).parents[2] / "firmware_protocol" / "vectors"
LINE_BYTES_S = 5_760.0
"""57,600 baud."""


def hard_bodies() -> list[bytes]:
    """Return bodies that keep a decoder busy: as many keys as fit, all alike but the last, each a nest of its own."""
    many = b"".join(b"\x81" + bytes([index]) + b"\x00" for index in range(24))
    deep = b"".join(b"\x81\x81\x81" + bytes([index]) + b"\x00" for index in range(23))
    return [
        b"\xb8\x18" + many,
        b"\xb8\x18" + many[:-3] + b"\x81\x00\x00",
        b"\xb7" + deep,
        b"\xb7" + deep[:-5] + b"\x81\x81\x81\x00\x00",
        b"\xb8\x30" + bytes(96),
        b"\xd9\xd9\xf7" * 40,
        b"\x9b" + b"\xff" * 8,
    ]


def frames() -> list[bytes]:
    """Return all that must be refused, damaged messages of every type, and bodies that keep a decoder busy."""
    dice = random.Random(11)
    malformed = json.loads((VECTORS / "malformed.json").read_text())["frames"]
    found = [bytes.fromhex(one["frame"]) for one in malformed]
    found += [encode_frame(body) for body in hard_bodies()]
    found += [encode_frame(damage(dice, message(dice).to_bytes())) for _ in range(120)]
    return [one for one in found if len(one) <= MAX_HOST_FRAME_BYTES + 40]


def rejected(board: Board, boot: int) -> int:
    """Ask the board how many frames it has rejected."""
    board.send(Start(boot))
    (status,) = [one for one in board.listen(0.2) if isinstance(one, Status)]
    return status.rejected


def test_it_refuses_what_the_codec_refuses_and_loses_no_sample(boards: Boards, tell: Path) -> None:
    board = boards()
    board.listen(1.5)
    boot = board.heard[0].boot  # type: ignore[attr-defined]
    before = rejected(board, boot)
    sent = frames()
    for frame in sent:
        board.send_bytes(frame)
        board.listen(len(frame) / LINE_BYTES_S + 0.03)
    refused = sum("error" in answer for answers in told(tell, sent, "device") for answer in answers)
    assert refused > 100
    assert rejected(board, boot) - before == refused
    assert {one.boot for one in board.heard} == {boot}  # type: ignore[attr-defined]
    seen: dict[int, set[int]] = {}
    for one in board.heard:
        if isinstance(one, Samples):
            seen.setdefault(one.stream, set()).update(range(one.first_seq, one.next_seq))
    assert all(numbers == set(range(max(numbers) + 1)) for numbers in seen.values())
    assert board.end()["stack_bytes_untouched"] >= 64
