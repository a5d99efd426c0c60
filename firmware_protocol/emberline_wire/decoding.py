"""From the body of a frame to its messages, whatever their types."""

from emberline_wire import compiled
from emberline_wire.device_messages import Hello, Pong, Samples, Status
from emberline_wire.errors import MessageError, NotAMessageError, NotCborError, UnknownMessageError
from emberline_wire.fields import decode_items, numbered
from emberline_wire.messages import Ack, Identify, Message, Ping, Resume, SetRate, Start, Stop

DeviceMessage = Hello | Samples | Status | Pong
HostMessage = Ping | Identify | Start | Stop | SetRate | Ack | Resume

FROM_DEVICE: dict[int, type[Message]] = {cls.TYPE: cls for cls in (Hello, Samples, Status, Pong)}
FROM_HOST: dict[int, type[Message]] = {cls.TYPE: cls for cls in (Ping, Identify, Start, Stop, SetRate, Ack, Resume)}


def decode_body(body: bytes) -> list[Message | MessageError]:
    """Return what stands in the body of a frame, in order: messages, and for each item that is none the reason.

    Whatever is wrong with an item, those before it are good, and so are those after it, unless it is no sound CBOR:
    that ends the body. Raises nothing.
    """
    samples = compiled.read_samples(body)
    if samples is not None:
        return [Samples.of_sound(*fields) for fields in samples]
    found: list[Message | MessageError] = []
    try:
        found.extend(_message(item) for item in decode_items(body))
    except NotCborError as exc:
        found.append(exc)
    return found


def decode_message(body: bytes) -> Message:
    """Return the one message that a body holds, as those of a host do.

    Raises:
        NotCborError, NotAMessageError: The body is none.
        UnknownMessageError: Its type belongs to no message of this version.
        UnsupportedVersionError, MissingFieldError, WrongFieldError: It is a message, but not a valid one.

    """
    found = decode_body(body)
    if len(found) != 1:
        raise NotCborError(f"the body holds {len(found)} items, not one")
    if isinstance(found[0], MessageError):
        raise found[0]
    return found[0]


def _message(item: object) -> Message | MessageError:
    try:
        fields = numbered(item)
        kind = fields.get(0)
        if type(kind) is not int:
            raise NotAMessageError("the map has no message type under key 0")
        known = FROM_DEVICE.get(kind) or FROM_HOST.get(kind)
        if known is None:
            raise UnknownMessageError(f"message type {kind} is not one that this version knows")
        return known.from_fields(fields)
    except MessageError as exc:
        return exc
