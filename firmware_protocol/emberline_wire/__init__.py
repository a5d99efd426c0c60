"""The wire between a bench's microcontroller and its host, without any input or output of its own.

A host needs `Session` and the events it reports; a device, or a test, needs the messages and `encode_frame`.
"""

from emberline_wire.channels import Channel, Fault, Kind
from emberline_wire.decoding import decode_body, decode_message
from emberline_wire.device_messages import DeviceFlag, Hello, Pong, Samples, Status
from emberline_wire.errors import FrameError, MessageError, WireError
from emberline_wire.events import (
    Event,
    Gap,
    Greeted,
    Readings,
    Rebooted,
    Refused,
    SessionCounters,
    Standing,
    StatusCame,
)
from emberline_wire.framing import FrameDecoder, encode_frame, seal, unseal
from emberline_wire.limits import PROTOCOL_VERSION
from emberline_wire.link_state import LinkState
from emberline_wire.messages import Ack, Identify, Message, Ping, Resume, SetRate, Start, Stop
from emberline_wire.session import Session
from emberline_wire.streams import Loss

__all__ = [
    "PROTOCOL_VERSION",
    "Ack",
    "Channel",
    "DeviceFlag",
    "Event",
    "Fault",
    "FrameDecoder",
    "FrameError",
    "Gap",
    "Greeted",
    "Hello",
    "Identify",
    "Kind",
    "LinkState",
    "Loss",
    "Message",
    "MessageError",
    "Ping",
    "Pong",
    "Readings",
    "Rebooted",
    "Refused",
    "Resume",
    "Samples",
    "Session",
    "SessionCounters",
    "SetRate",
    "Standing",
    "Start",
    "Status",
    "StatusCame",
    "Stop",
    "WireError",
    "decode_body",
    "decode_message",
    "encode_frame",
    "seal",
    "unseal",
]
