"""From the body of a frame to its message, whatever its type."""

from emberline_wire import compiled
from emberline_wire.device_messages import Hello, Pong, Samples, Status
from emberline_wire.errors import NotAMessageError, UnknownMessageError
from emberline_wire.fields import decode_map
from emberline_wire.messages import Ack, Identify, Message, Ping, Resume, SetRate, Start, Stop

DeviceMessage = Hello | Samples | Status | Pong
HostMessage = Ping | Identify | Start | Stop | SetRate | Ack | Resume

FROM_DEVICE: dict[int, type[Message]] = {cls.TYPE: cls for cls in (Hello, Samples, Status, Pong)}
FROM_HOST: dict[int, type[Message]] = {cls.TYPE: cls for cls in (Ping, Identify, Start, Stop, SetRate, Ack, Resume)}


def decode_message(body: bytes) -> Message:
    """Return the message that the body of a frame holds.

    Raises:
        NotCborError, NotAMessageError: The body is none.
        UnknownMessageError: Its type belongs to no message of this version.
        UnsupportedVersionError, MissingFieldError, WrongFieldError: It is a message, but not a valid one.

    """
    samples = compiled.read_samples(body)
    if samples is not None:
        return Samples.of_sound(*samples)
    fields = decode_map(body)
    kind = fields.get(0)
    if type(kind) is not int:
        raise NotAMessageError("the map has no message type under key 0")
    known = FROM_DEVICE.get(kind) or FROM_HOST.get(kind)
    if known is None:
        raise UnknownMessageError(f"message type {kind} is not one that this version knows")
    return known.from_fields(fields)
