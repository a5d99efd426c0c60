"""What can be wrong with bytes from the wire: one tree, so that a caller needs one `except`."""


class WireError(Exception):
    """Root of everything that `emberline_wire` raises on its own account."""


class FrameError(WireError):
    """The bytes between two delimiters are no frame; nothing is known about what they meant."""


class FrameTooLongError(FrameError):
    """More bytes than a frame may have."""


class FrameTooShortError(FrameError):
    """Fewer bytes than a checksum and one byte of body."""


class BadStuffingError(FrameError):
    """The bytes are not valid COBS."""


class BadChecksumError(FrameError):
    """The CRC-32 at the end does not belong to the body."""


class MessageError(WireError):
    """A frame arrived whole, but its body is no message of this protocol."""


class NotCborError(MessageError):
    """The body is not exactly one well-formed CBOR item of definite length and shallow nesting."""


class NotAMessageError(MessageError):
    """The body is CBOR, but not a map with a message type under key 0."""


class UnknownMessageError(MessageError):
    """The message type is not one this side knows; a newer peer may send such, and they are skipped."""


class MissingFieldError(MessageError):
    """A field that the message needs is absent."""


class WrongFieldError(MessageError):
    """A field has the wrong type or lies outside its bounds."""


class UnsupportedVersionError(MessageError):
    """The peer speaks another version of the protocol."""


class BadStateError(WireError):
    """A saved session or clock cannot be restored from the data given."""


class ClockNotReadyError(WireError):
    """A sample time was asked for before the device's clock was compared with the host's even once."""


class LineTooSlowError(WireError):
    """A serial line has no room for what a device would send."""
