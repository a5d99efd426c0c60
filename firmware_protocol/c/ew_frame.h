/* Frames on a serial line: body, CRC-32, COBS, and a zero byte on either side (PROTOCOL.md, section 2).
 *
 * A frame is made in the caller's buffer as its bytes come, with the checksum and the stuffing along the way; the body
 * is never there by itself. Its buffer may be smaller than EW_MAX_FRAME_BYTES where less is sent. */
#ifndef EW_FRAME_H
#define EW_FRAME_H

#include <stdbool.h>
#include <stdint.h>

#include "ew_limits.h"

typedef struct {
    uint8_t *bytes;
    uint16_t size;
    uint16_t used;
    uint16_t code_at; /* where the code byte of the present block will stand */
    uint16_t body_bytes;
    uint8_t run; /* bytes in the present block */
    bool fits;
    uint32_t crc;
} ew_frame;

/* Begins a frame in `bytes`, which has room for `size`. */
void ew_frame_start(ew_frame *frame, uint8_t *bytes, uint16_t size);

/* Adds one byte of the body. What does not fit is not written. */
void ew_frame_put(ew_frame *frame, uint8_t byte);

/* Ends the frame and returns its length with both delimiters, or 0 if it did not fit or had no body. */
uint16_t ew_frame_end(ew_frame *frame);

/* A body received; it lies in the receiver's buffer until the next byte is taken in. */
typedef struct {
    const uint8_t *bytes;
    uint16_t length;
} ew_body;

typedef struct {
    uint8_t *bytes;
    uint16_t size;
    uint16_t used;
    bool skipping; /* the piece grew too long, and is dropped up to the next delimiter */
} ew_receiver;

/* Sets up a receiver with a buffer of `size` bytes: EW_MAX_HOST_STUFFED_BYTES for a device, EW_MAX_STUFFED_BYTES for a
 * host. */
void ew_receiver_start(ew_receiver *receiver, uint8_t *bytes, uint16_t size);

/* Takes in one byte. Returns EW_OK with a body when it completes a frame, EW_NOTHING when there is none to speak of
 * yet, or what was wrong with a piece that is now discarded: count those. */
ew_result ew_receive(ew_receiver *receiver, uint8_t byte, ew_body *body);

#endif
