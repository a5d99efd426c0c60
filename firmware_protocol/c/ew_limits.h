/* The bounds of the protocol, and what can be wrong with bytes from the wire (PROTOCOL.md, sections 3 and 12). */
#ifndef EW_LIMITS_H
#define EW_LIMITS_H

#define EW_PROTOCOL_VERSION 1u

#define EW_MAX_FRAME_BYTES 512u
#define EW_MAX_BODY_BYTES 504u
#define EW_MAX_HOST_FRAME_BYTES 128u
#define EW_MAX_NESTING 4u
#define EW_MAX_CHANNELS 12u
#define EW_MAX_STREAM_ID 63u
#define EW_MAX_SAMPLES 250u
#define EW_MAX_NAME_BYTES 16u
#define EW_MAX_DEVICE_BYTES 32u
#define EW_MAX_FIRMWARE_BYTES 24u
#define EW_OFFSET_UNIT_US 32u
#define EW_MAX_SPAN_US 2097120ul
#define EW_MIN_PERIOD_US 1000ul
#define EW_MAX_PERIOD_US 60000000ul
#define EW_MAX_FRAME_PERIOD_MS 2000ul
#define EW_MAX_RING_MS 3600000ul

#define EW_CRC_BYTES 4u
/* What lies between two delimiters: a receiver's buffer. */
#define EW_MAX_STUFFED_BYTES (EW_MAX_FRAME_BYTES - 2u)
#define EW_MAX_HOST_STUFFED_BYTES (EW_MAX_HOST_FRAME_BYTES - 2u)
/* A frame of samples takes at most so many bytes beside its arrays (PROTOCOL.md, section 10). */
#define EW_SAMPLES_OVERHEAD_BYTES 56u

typedef enum {
    EW_OK = 0,
    EW_NOTHING, /* no frame has ended yet; not an error */
    EW_FRAME_TOO_LONG,
    EW_FRAME_TOO_SHORT,
    EW_BAD_STUFFING,
    EW_BAD_CHECKSUM,
    EW_NOT_CBOR,
    EW_NOT_A_MESSAGE,
    EW_UNKNOWN_MESSAGE,
    EW_UNSUPPORTED_VERSION,
    EW_MISSING_FIELD,
    EW_WRONG_FIELD
} ew_result;

#endif
