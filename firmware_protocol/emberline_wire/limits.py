"""The bounds of the protocol, each with its reason. PROTOCOL.md section 3 is normative; a test compares the two."""

PROTOCOL_VERSION = 1

MAX_FRAME_BYTES = 512
"""One frame on a serial line with both its delimiters: a quarter of the RAM of a controller with 2 KiB."""

MAX_HOST_FRAME_BYTES = 128
"""Largest frame that a host sends (an acknowledgement of twelve streams takes 102): all a device must make room for."""

CRC_BYTES = 4

MAX_BODY_BYTES = 504
"""Body and checksum fill exactly two full COBS blocks: 504 + 4 = 2 x 254; two code bytes, two delimiters: 512."""

MAX_NESTING = 4
"""Hello, its channel list, one channel, and one level for keys to come."""

MAX_CHANNELS = 12
"""More than a bench has (ten with both cold junctions), and a hello with short names still fits one frame."""

MAX_STREAM_ID = 63
MAX_NAME_BYTES = 16
MAX_DEVICE_BYTES = 32
MAX_FIRMWARE_BYTES = 24

MAX_SAMPLES = 250
"""Samples in one frame: a count that fits one byte on a small controller."""

OFFSET_UNIT_US = 32
"""Step of a sample's offset: 16 bits then span 2.1 s, and half a step is far below any sensor's time constant."""

MIN_PERIOD_US = 1_000
MAX_PERIOD_US = 60_000_000

U32_MAX = 0xFFFF_FFFF
U64_MAX = 0xFFFF_FFFF_FFFF_FFFF
MAX_FRAME_PERIOD_MS = 2_000
MAX_RING_MS = 3_600_000
I32_MIN = -(1 << 31)
I32_MAX = (1 << 31) - 1
MIN_SCALE = 1e-12
MAX_SCALE = 1e12
MAX_SPAN_US = 0xFFFF * OFFSET_UNIT_US
"""Longest time from the first to the last sample of a frame, whichever way their times are given."""
