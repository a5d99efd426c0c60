#include "ew_host.h"

#include <stddef.h>

#include "ew_cbor_read.h"
#include "ew_cbor_write.h"
#include "ew_hello_read.h"

static uint8_t count_fields(const ew_command *command) {
    uint8_t count = 2; /* ping, identify, start and stop */
    if (command->type == EW_SET_RATE) {
        count = 4;
    } else if ((command->type == EW_ACK) || (command->type == EW_RESUME)) {
        count = 3;
    } else {
        count = 2;
    }
    return count;
}

/* Keys in rising order, as the encoding wants them; the streams may be in any. */
static void put_wanted(ew_frame *frame, const ew_command *command) {
    ew_put_uint(frame, 2u);
    ew_put_head(frame, EW_CBOR_MAP, command->of.wanted.count);
    for (uint8_t stream = 0; stream <= EW_MAX_STREAM_ID; stream++) {
        for (uint8_t i = 0; i < command->of.wanted.count; i++) {
            if (command->of.wanted.stream[i] == stream) {
                ew_put_field(frame, stream, command->of.wanted.seq[i]);
            }
        }
    }
}

uint16_t ew_write_command(uint8_t *bytes, uint16_t size, const ew_command *command) {
    ew_frame frame;
    ew_frame_start(&frame, bytes, size);
    ew_put_head(&frame, EW_CBOR_MAP, count_fields(command));
    ew_put_field(&frame, 0u, (uint8_t)command->type);
    if (command->type == EW_PING) {
        ew_put_field(&frame, 2u, command->of.time_ns);
    } else if (command->type == EW_IDENTIFY) {
        ew_put_field(&frame, 2u, command->of.version);
    } else {
        ew_put_field(&frame, 1u, command->boot);
        if (command->type == EW_SET_RATE) {
            ew_put_field(&frame, 2u, command->of.rate.stream);
            ew_put_field(&frame, 3u, command->of.rate.period_us);
        } else if ((command->type == EW_ACK) || (command->type == EW_RESUME)) {
            put_wanted(&frame, command);
        } else {
            /* start and stop say no more */
        }
    }
    return ew_frame_end(&frame);
}

/* Takes a typed array, or none where the key is absent. `only` is the tag that it must have, 0 for any in use. */
static ew_result take_numbers(const ew_body *body, const ew_item *map, uint8_t key, uint8_t only, ew_numbers *numbers) {
    ew_item tag;
    ew_item bytes;
    numbers->tag = 0;
    numbers->count = 0;
    numbers->bytes = NULL;
    if (!ew_find(body, map, key, &tag)) {
        return EW_OK;
    }
    if ((tag.major != EW_CBOR_TAG) || !ew_item_at(body, tag.at, &bytes) || (bytes.major != EW_CBOR_BYTES)) {
        return EW_WRONG_FIELD;
    }
    const uint8_t size = ew_item_bytes(tag.argument);
    if ((size == 0u) || ((only > 0u) && (tag.argument != only)) || ((bytes.argument % size) != 0u) ||
        (bytes.argument == 0u) || ((bytes.argument / size) > EW_MAX_SAMPLES)) {
        return EW_WRONG_FIELD;
    }
    numbers->tag = (uint8_t)tag.argument;
    numbers->count = (uint8_t)(bytes.argument / size);
    numbers->bytes = &body->bytes[bytes.at];
    return EW_OK;
}

static bool decrease(const ew_numbers *offsets) {
    bool found = false;
    uint16_t last = 0;
    for (uint8_t i = 0; i < offsets->count; i++) {
        const uint16_t offset = (uint16_t)(offsets->bytes[2u * i] | (uint16_t)(offsets->bytes[2u * i + 1u] << 8));
        if (offset < last) {
            found = true;
        }
        last = offset;
    }
    return found;
}

/* Checks what the fields of a message of samples say of one another. */
static bool fit_together(const ew_report *report) {
    const ew_numbers *offsets = &report->of.samples.offsets;
    const ew_numbers *faults = &report->of.samples.faults;
    const uint8_t count = report->of.samples.values.count;
    const bool even = report->of.samples.period_us > 0u;
    bool fit = even != (offsets->tag > 0u);
    if (even) {
        fit = fit && ((uint64_t)report->of.samples.period_us * (uint64_t)(count - 1u) <= EW_MAX_SPAN_US);
    } else {
        fit = fit && (offsets->count == count) && !decrease(offsets);
    }
    return fit && ((faults->tag == 0u) || (faults->count == count)) &&
           (report->of.samples.oldest_seq <= report->of.samples.first_seq);
}

static ew_result read_samples(const ew_body *body, const ew_item *map, ew_report *report) {
    uint32_t stream = 0;
    ew_result result = take_numbers(body, map, 7u, 0u, &report->of.samples.values);
    if ((result == EW_OK) && (report->of.samples.values.tag == 0u)) {
        result = EW_MISSING_FIELD;
    }
    if (result == EW_OK) {
        result = ew_take_u32(body, map, 1u, 0u, UINT32_MAX, &report->of.samples.boot);
    }
    if (result == EW_OK) {
        result = ew_take_u32(body, map, 2u, 0u, EW_MAX_STREAM_ID, &stream);
    }
    if (result == EW_OK) {
        result = ew_take_u32(body, map, 3u, 0u, UINT32_MAX - EW_MAX_SAMPLES, &report->of.samples.first_seq);
    }
    if (result == EW_OK) {
        result = ew_take_u32(body, map, 4u, 0u, UINT32_MAX, &report->of.samples.ticks);
    }
    if (result == EW_OK) {
        result = ew_take_u32(body, map, 8u, 0u, UINT32_MAX, &report->of.samples.oldest_seq);
    }
    if (result == EW_OK) {
        result = ew_take_u32(body, map, 5u, EW_MIN_PERIOD_US, EW_MAX_PERIOD_US, &report->of.samples.period_us);
        result = (result == EW_MISSING_FIELD) ? EW_OK : result;
    }
    report->of.samples.stream = (uint8_t)stream;
    if (result == EW_OK) {
        result = take_numbers(body, map, 6u, EW_TAG_UINT16, &report->of.samples.offsets);
    }
    if (result == EW_OK) {
        result = take_numbers(body, map, 9u, EW_TAG_UINT8, &report->of.samples.faults);
    }
    return ((result == EW_OK) && !fit_together(report)) ? EW_WRONG_FIELD : result;
}

static ew_result read_status(const ew_body *body, const ew_item *map, ew_status *status) {
    uint32_t *fields[6];
    ew_result result = EW_OK;
    fields[0] = &status->boot;
    fields[1] = &status->ticks;
    fields[2] = &status->flags;
    fields[3] = &status->rejected;
    fields[4] = &status->lost;
    fields[5] = &status->waiting;
    for (uint8_t i = 0; (i < 6u) && (result == EW_OK); i++) {
        result = ew_take_u32(body, map, (uint8_t)(i + 1u), 0u, UINT32_MAX, fields[i]);
    }
    return result;
}

static ew_result read_pong(const ew_body *body, const ew_item *map, ew_pong *pong) {
    ew_result result = ew_take_u32(body, map, 1u, 0u, UINT32_MAX, &pong->boot);
    if (result == EW_OK) {
        result = ew_take_u64(body, map, 2u, 0u, UINT64_MAX, &pong->time_ns);
    }
    if (result == EW_OK) {
        result = ew_take_u32(body, map, 3u, 0u, UINT32_MAX, &pong->ticks);
    }
    return result;
}

bool ew_take_message(ew_body *rest, ew_body *message) {
    if (rest->length == 0u) {
        return false;
    }
    const uint16_t end = ew_sound_end(rest);
    message->bytes = rest->bytes;
    message->length = (end > 0u) ? end : rest->length;
    rest->bytes += message->length;
    rest->length = (uint16_t)(rest->length - message->length);
    return true;
}

ew_result ew_read_report(const ew_body *body, ew_report *report) {
    ew_item map;
    uint64_t type = 0;
    ew_result result = ew_open(body, &map, &type);
    if (result == EW_OK) {
        switch (type) {
            case EW_HELLO:
                result = ew_read_hello(body, &map, &report->of.hello);
                break;
            case EW_SAMPLES:
                result = read_samples(body, &map, report);
                break;
            case EW_STATUS:
                result = read_status(body, &map, &report->of.status);
                break;
            case EW_PONG:
                result = read_pong(body, &map, &report->of.pong);
                break;
            default:
                result = EW_UNKNOWN_MESSAGE;
                break;
        }
        report->type = (ew_type)type;
    }
    return result;
}
