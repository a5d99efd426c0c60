"""One batch of messages through both codecs, and bodies damaged on the way."""

import random
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from benchmarks.wire_c.messages import fields, message
from emberline_wire import Message, WireError, decode_body, decode_message, encode_frame
from emberline_wire.errors import NotCborError
from emberline_wire.limits import MAX_BODY_BYTES
from wire_c_fixture import told

DAMAGED = 0.25
"""Share of the messages that go through a second time, with one to three bytes of their bodies changed."""


@dataclass(slots=True)
class Tally:
    """What came of the batches.

    Attributes:
        equal: Messages that the C codec reads with the same fields, and writes again with the same bytes.
        taken, refused: Damaged bodies that both take for the same message, and that both refuse.
        stricter: Damaged bodies that only the Python codec refuses, as being no CBOR: the library under it looks into
            texts and tags that the message does not need.
        together: Bodies of several messages, some of them damaged, of which both read the same.
        different: Frames that the codecs do not agree on, with what each said; there should be none.

    """

    equal: int = 0
    taken: int = 0
    refused: int = 0
    stricter: int = 0
    together: int = 0
    different: list[str] = field(default_factory=list)

    def batch(self, tell: Path, dice: random.Random, count: int) -> None:
        """Put so many random messages through both codecs, and damaged ones beside them."""
        messages = [message(dice) for _ in range(count)]
        bodies = [one.to_bytes() for one in messages]
        frames = [encode_frame(body) for body in bodies]
        for one, frame, (answer,) in zip(messages, frames, told(tell, frames), strict=True):
            if agree(one, frame, answer):
                self.equal += 1
            else:
                self.different.append(f"{frame.hex()}\n  {one}\n  {answer}")
        spoilt = [encode_frame(damage(dice, body)) for body in dice.sample(bodies, round(DAMAGED * count))]
        for frame, (answer,) in zip(spoilt, told(tell, spoilt), strict=True):
            self._weigh(frame, answer)
        several = [b"".join(bodies[at : at + dice.randint(2, 4)]) for at in range(0, count - 4, 4)]
        several = [body if dice.random() < 1.0 - DAMAGED else damage(dice, body) for body in several]
        several = [body for body in several if len(body) <= MAX_BODY_BYTES]
        for body, (*answers, _) in zip(several, told(tell, map(encode_frame, several), "together"), strict=True):
            self._weigh_together(body, answers)

    def _weigh_together(self, body: bytes, answers: list[dict[str, Any]]) -> None:
        """Hold what was read of a body with several messages, perhaps damaged, against what the Python codec reads."""
        found = decode_body(body)
        for mine, answer in zip(found, answers, strict=False):
            ends, theirs_ends = isinstance(mine, NotCborError), answer.get("error") == "NotCborError"
            if ends and not theirs_ends:
                self.stricter += 1
                return
            if isinstance(mine, Message):
                same = agree(mine, encode_frame(mine.to_bytes()), answer)
            else:
                # Where two things are wrong with a message, each may name the one that it came upon first.
                same = "error" in answer and ends == theirs_ends
            if not same:
                self.different.append(f"{body.hex()}\n  {mine!r}\n  {answer}")
                return
        if len(found) == len(answers):
            self.together += 1
        else:
            self.different.append(f"{body.hex()}\n  {found}\n  {answers}")

    def _weigh(self, frame: bytes, answer: dict[str, Any]) -> None:
        body = bytes.fromhex(answer["body"])
        try:
            mine = decode_message(body)
        except WireError as exc:
            if "error" in answer:
                self.refused += 1
            elif isinstance(exc, NotCborError):
                self.stricter += 1
            else:
                self.different.append(f"{frame.hex()}\n  {exc!r}\n  {answer}")
        else:
            if agree(mine, encode_frame(mine.to_bytes()), answer):
                self.taken += 1
            else:
                self.different.append(f"{frame.hex()}\n  {mine}\n  {answer}")


def agree(one: Message, frame: bytes, answer: dict[str, Any]) -> bool:
    """Say whether the C codec has read what a message says, and has written its frame."""
    return (
        answer.get("message") == type(one).__name__
        and answer["fields"] == fields(one)
        and answer["frame"] == frame.hex()
    )


def damage(dice: random.Random, body: bytes) -> bytes:
    """Return a body with one to three bytes exchanged, lost or made up."""
    spoilt = bytearray(body)
    for _ in range(dice.randint(1, 3)):
        at = dice.randrange(len(spoilt))
        match dice.randrange(4):
            case 0 if len(spoilt) > 1:
                del spoilt[at]
            case 1 if len(spoilt) < MAX_BODY_BYTES:
                spoilt.insert(at, dice.randrange(256))
            case 2:
                spoilt[at] = (spoilt[at] + dice.choice((1, 255))) % 256
            case _:
                spoilt[at] = dice.randrange(256)
    return bytes(spoilt)
