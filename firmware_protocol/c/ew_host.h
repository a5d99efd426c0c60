/* The host's side of the wire: writes commands, reads what a device sends. A device does not need it. */
#ifndef EW_HOST_H
#define EW_HOST_H

#include <stdbool.h>
#include <stdint.h>

#include "ew_cbor.h"
#include "ew_frame.h"
#include "ew_messages.h"

/* Writes a command as one whole frame and returns its length, or 0 if it did not fit; EW_MAX_HOST_FRAME_BYTES are
 * enough for any. */
uint16_t ew_write_command(uint8_t *bytes, uint16_t size, const ew_command *command);

/* Items of a typed array, in the body received, least significant byte first; no tag where there is no array. */
typedef struct {
    uint8_t tag;
    uint8_t count;
    const uint8_t *bytes;
} ew_numbers;

typedef struct {
    uint32_t boot;
    char device[EW_MAX_DEVICE_BYTES + 1u];
    char firmware[EW_MAX_FIRMWARE_BYTES + 1u];
    uint8_t channel_count;
    ew_channel channels[EW_MAX_CHANNELS];
    uint32_t ticks;
    uint16_t frame_period_ms;
    uint32_t ring_ms;
} ew_hello_report;

/* What a device sends. */
typedef struct {
    ew_type type;
    union {
        ew_hello_report hello;
        struct {
            uint32_t boot;
            uint8_t stream;
            uint32_t first_seq;
            uint32_t oldest_seq;
            uint32_t ticks;
            uint32_t period_us; /* 0 where there are offsets */
            ew_numbers offsets;
            ew_numbers values;
            ew_numbers faults;
        } samples;
        ew_status status;
        ew_pong pong;
    } of;
} ew_report;

/* Takes the next message off a body, of which `rest` is what follows. An item that is not sound takes all that is left
 * with it, for where it ends cannot be told; ew_read_report says EW_NOT_CBOR to it. Returns false at the end. */
bool ew_take_message(ew_body *rest, ew_body *message);

/* Reads one message of a device. The arrays of samples lie in it. */
ew_result ew_read_report(const ew_body *body, ew_report *report);

#endif
