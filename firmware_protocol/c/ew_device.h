/* The device's side of the wire: writes hello, samples, status and pong, reads what a host sends.
 *
 * Each writer makes one whole frame in the caller's buffer of `size` bytes and returns its length with both delimiters,
 * or 0 if it did not fit. Channels and samples are asked for one at a time, so that they may lie in flash, or packed in
 * a ring. The caller keeps to the bounds of ew_limits.h; nothing is ever written beyond the buffer. */
#ifndef EW_DEVICE_H
#define EW_DEVICE_H

#include <stdint.h>

#include "ew_cbor.h"
#include "ew_frame.h"
#include "ew_messages.h"

typedef struct {
    uint32_t boot;
    const char *device;
    const char *firmware;
    uint8_t channel_count;
    uint32_t ticks;
    uint16_t frame_period_ms;
    uint32_t ring_ms;
    void (*channel_at)(void *source, uint8_t index, ew_channel *channel);
    void *source;
} ew_hello;

uint16_t ew_write_hello(uint8_t *bytes, uint16_t size, const ew_hello *hello);

typedef enum { EW_OFFSETS, EW_VALUES, EW_FAULTS } ew_array;

typedef struct {
    uint32_t boot;
    uint8_t stream;
    uint8_t count;
    uint8_t values_tag; /* EW_TAG_INT16, ... */
    bool has_faults;    /* whether any sample has a fault bit set; else they are left out */
    uint32_t first_seq;
    uint32_t oldest_seq;
    uint32_t ticks;     /* of the first sample */
    uint32_t period_us; /* 0 where each sample has its offset */
    /* Writes one item of one array, least significant byte first: 2 bytes of offset, 1 of faults, or a value. It is
     * asked for all items of an array in turn, and for one array after another. */
    void (*item_at)(void *source, ew_array array, uint8_t index, uint8_t *bytes);
    void *source;
} ew_samples;

/* Several messages in one frame: ew_frame_start, these in turn, ew_frame_end. A frame is a value: in a buffer of
 * EW_MAX_FRAME_BYTES, the copy of one made before a message that did not fit is that frame without it. */
void ew_add_samples(ew_frame *frame, const ew_samples *samples);
void ew_add_status(ew_frame *frame, const ew_status *status);
void ew_add_pong(ew_frame *frame, const ew_pong *pong);

/* One message, one frame: what costs the least to send again where a line is damaged. */
uint16_t ew_write_samples(uint8_t *bytes, uint16_t size, const ew_samples *samples);
uint16_t ew_write_status(uint8_t *bytes, uint16_t size, const ew_status *status);
uint16_t ew_write_pong(uint8_t *bytes, uint16_t size, const ew_pong *pong);

/* Reads a body from the host, which is one message. Anything but EW_OK is counted as rejected and otherwise ignored. */
ew_result ew_read_command(const ew_body *body, ew_command *command);

#endif
