"""How far a device's samples are stored, as plain data that outlives the program."""

from collections.abc import Mapping
from typing import Any

from emberline_wire import Hello, MessageError, Standing, decode_message


def standing_document(standing: Standing, hello: Hello | None = None) -> dict[str, Any]:
    """Return a standing as data that JSON can hold, with the hello of its boot where it will be needed again."""
    document = {} if hello is None or hello.boot != standing.boot else {"hello": hello.to_bytes().hex()}
    return {
        **document,
        "device": standing.device,
        "boot": standing.boot,
        "wanted": {str(stream): seq for stream, seq in standing.wanted.items()},
        "clock": dict(standing.clock),
    }


def read_standing(document: Mapping[str, Any] | None) -> Standing | None:
    """Return the standing that a document describes, or None for one that is absent or damaged.

    Without one the device sends all that it keeps, and the store leaves out what it has: nothing is lost by it.
    """
    if document is None:
        return None
    try:
        return Standing(
            device=str(document["device"]),
            boot=int(document["boot"]),
            wanted={int(stream): int(seq) for stream, seq in document["wanted"].items()},
            clock=dict(document["clock"]),
        )
    except (KeyError, TypeError, ValueError, OverflowError, AttributeError):
        return None


def read_hello(document: Mapping[str, Any] | None) -> Hello | None:
    """Return the hello in a document, or None where there is none that can be read."""
    try:
        message = decode_message(bytes.fromhex((document or {})["hello"]))
    except (KeyError, TypeError, ValueError, MessageError):
        return None
    return message if isinstance(message, Hello) else None
