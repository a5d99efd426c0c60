#include "ew_frame.h"

#include "ew_crc.h"

#define DELIMITER 0u
#define FULL_RUN 254u
#define FULL_CODE 255u

static void append(ew_frame *frame, uint8_t byte) {
    if (frame->used < frame->size) {
        frame->bytes[frame->used] = byte;
        frame->used++;
    } else {
        frame->fits = false;
    }
}

static void open_block(ew_frame *frame) {
    frame->code_at = frame->used;
    frame->run = 0;
    append(frame, 0u);
}

static void close_block(ew_frame *frame) {
    if (frame->code_at < frame->size) {
        frame->bytes[frame->code_at] = (uint8_t)(frame->run + 1u);
    }
}

/* A full block is closed only when another byte follows: one that ends the data has no further code byte after it. */
static void stuff(ew_frame *frame, uint8_t byte) {
    if (frame->run == FULL_RUN) {
        close_block(frame);
        open_block(frame);
    }
    if (byte == 0u) {
        close_block(frame);
        open_block(frame);
    } else {
        append(frame, byte);
        frame->run++;
    }
}

void ew_frame_start(ew_frame *frame, uint8_t *bytes, uint16_t size) {
    frame->bytes = bytes;
    frame->size = size;
    frame->used = 0;
    frame->body_bytes = 0;
    frame->fits = true;
    frame->crc = EW_CRC_START;
    append(frame, DELIMITER);
    open_block(frame);
}

void ew_frame_put(ew_frame *frame, uint8_t byte) {
    if (frame->body_bytes < EW_MAX_BODY_BYTES) {
        frame->body_bytes++;
        frame->crc = ew_crc_add(frame->crc, byte);
        stuff(frame, byte);
    } else {
        frame->fits = false;
    }
}

uint16_t ew_frame_end(ew_frame *frame) {
    uint32_t crc = ~frame->crc;
    for (uint8_t i = 0; i < EW_CRC_BYTES; i++) {
        stuff(frame, (uint8_t)(crc & 0xFFu));
        crc >>= 8;
    }
    close_block(frame);
    append(frame, DELIMITER);
    return (frame->fits && (frame->body_bytes > 0u)) ? frame->used : 0u;
}

void ew_receiver_start(ew_receiver *receiver, uint8_t *bytes, uint16_t size) {
    receiver->bytes = bytes;
    receiver->size = size;
    receiver->used = 0;
    receiver->skipping = false;
}

/* Removes the stuffing where it stands. */
static ew_result unstuff(uint8_t *bytes, uint16_t stuffed, uint16_t *length) {
    uint16_t from = 0;
    uint16_t to = 0;
    while (from < stuffed) {
        const uint8_t code = bytes[from];
        from++;
        if ((uint16_t)(code - 1u) > (uint16_t)(stuffed - from)) {
            return EW_BAD_STUFFING;
        }
        for (uint8_t i = 1; i < code; i++) {
            bytes[to] = bytes[from];
            to++;
            from++;
        }
        if ((code != FULL_CODE) && (from < stuffed)) {
            bytes[to] = 0u;
            to++;
        }
    }
    *length = to;
    return EW_OK;
}

static ew_result unseal(const uint8_t *bytes, uint16_t length, ew_body *body) {
    if (length > (EW_MAX_BODY_BYTES + EW_CRC_BYTES)) {
        return EW_FRAME_TOO_LONG;
    }
    if (length <= EW_CRC_BYTES) {
        return EW_FRAME_TOO_SHORT;
    }
    const uint16_t body_bytes = (uint16_t)(length - EW_CRC_BYTES);
    uint32_t crc = EW_CRC_START;
    for (uint16_t i = 0; i < body_bytes; i++) {
        crc = ew_crc_add(crc, bytes[i]);
    }
    crc = ~crc;
    for (uint16_t i = body_bytes; i < length; i++) {
        if (bytes[i] != (uint8_t)(crc & 0xFFu)) {
            return EW_BAD_CHECKSUM;
        }
        crc >>= 8;
    }
    body->bytes = bytes;
    body->length = body_bytes;
    return EW_OK;
}

static ew_result finish(ew_receiver *receiver, ew_body *body) {
    uint16_t length = 0;
    ew_result result = EW_NOTHING;
    if (receiver->used > 0u) {
        result = unstuff(receiver->bytes, receiver->used, &length);
        if (result == EW_OK) {
            result = unseal(receiver->bytes, length, body);
        }
    }
    receiver->used = 0;
    receiver->skipping = false;
    return result;
}

ew_result ew_receive(ew_receiver *receiver, uint8_t byte, ew_body *body) {
    ew_result result = EW_NOTHING;
    if (byte == DELIMITER) {
        result = finish(receiver, body);
    } else if (receiver->skipping) {
        result = EW_NOTHING;
    } else if (receiver->used < receiver->size) {
        receiver->bytes[receiver->used] = byte;
        receiver->used++;
    } else {
        receiver->used = 0;
        receiver->skipping = true;
        result = EW_FRAME_TOO_LONG;
    }
    return result;
}
