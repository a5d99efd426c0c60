#include "ew_device.h"

#include "ew_cbor_read.h"
#include "ew_cbor_write.h"

#define MAX_ITEM_BYTES 8u

static void begin(ew_frame *frame, uint8_t fields, ew_type type, uint32_t boot) {
    ew_put_head(frame, EW_CBOR_MAP, fields);
    ew_put_field(frame, 0u, (uint8_t)type);
    ew_put_field(frame, 1u, boot);
}

static void put_channel(ew_frame *frame, const ew_channel *channel) {
    const bool serves = channel->serves != EW_NO_STREAM;
    ew_put_head(frame, EW_CBOR_MAP, serves ? 7u : 6u);
    ew_put_field(frame, 0u, channel->id);
    ew_put_uint(frame, 1u);
    ew_put_text(frame, channel->name, EW_MAX_NAME_BYTES);
    ew_put_field(frame, 2u, channel->kind);
    ew_put_field(frame, 3u, channel->period_us);
    ew_put_uint(frame, 4u);
    ew_put_float(frame, channel->scale);
    ew_put_uint(frame, 5u);
    ew_put_int(frame, channel->zero);
    if (serves) {
        ew_put_field(frame, 6u, channel->serves);
    }
}

uint16_t ew_write_hello(uint8_t *bytes, uint16_t size, const ew_hello *hello) {
    ew_frame frame;
    ew_frame_start(&frame, bytes, size);
    begin(&frame, 9u, EW_HELLO, hello->boot);
    ew_put_field(&frame, 2u, EW_PROTOCOL_VERSION);
    ew_put_uint(&frame, 3u);
    ew_put_text(&frame, hello->device, EW_MAX_DEVICE_BYTES);
    ew_put_uint(&frame, 4u);
    ew_put_text(&frame, hello->firmware, EW_MAX_FIRMWARE_BYTES);
    ew_put_uint(&frame, 5u);
    ew_put_head(&frame, EW_CBOR_ARRAY, hello->channel_count);
    for (uint8_t i = 0; i < hello->channel_count; i++) {
        ew_channel channel;
        hello->channel_at(hello->source, i, &channel);
        put_channel(&frame, &channel);
    }
    ew_put_field(&frame, 6u, hello->ticks);
    ew_put_field(&frame, 7u, hello->frame_period_ms);
    ew_put_field(&frame, 8u, hello->ring_ms);
    return ew_frame_end(&frame);
}

static void put_array(ew_frame *frame, const ew_samples *samples, ew_array array, uint8_t tag) {
    const uint8_t item_bytes = ew_item_bytes(tag);
    ew_put_head(frame, EW_CBOR_TAG, tag);
    ew_put_head(frame, EW_CBOR_BYTES, (uint16_t)(item_bytes * samples->count));
    for (uint8_t i = 0; i < samples->count; i++) {
        uint8_t item[MAX_ITEM_BYTES];
        samples->item_at(samples->source, array, i, item);
        for (uint8_t j = 0; j < item_bytes; j++) {
            ew_frame_put(frame, item[j]);
        }
    }
}

void ew_add_samples(ew_frame *frame, const ew_samples *samples) {
    begin(frame, samples->has_faults ? 9u : 8u, EW_SAMPLES, samples->boot);
    ew_put_field(frame, 2u, samples->stream);
    ew_put_field(frame, 3u, samples->first_seq);
    ew_put_field(frame, 4u, samples->ticks);
    if (samples->period_us > 0u) {
        ew_put_field(frame, 5u, samples->period_us);
    } else {
        ew_put_uint(frame, 6u);
        put_array(frame, samples, EW_OFFSETS, EW_TAG_UINT16);
    }
    ew_put_uint(frame, 7u);
    put_array(frame, samples, EW_VALUES, samples->values_tag);
    ew_put_field(frame, 8u, samples->oldest_seq);
    if (samples->has_faults) {
        ew_put_uint(frame, 9u);
        put_array(frame, samples, EW_FAULTS, EW_TAG_UINT8);
    }
}

void ew_add_status(ew_frame *frame, const ew_status *status) {
    begin(frame, 7u, EW_STATUS, status->boot);
    ew_put_field(frame, 2u, status->ticks);
    ew_put_field(frame, 3u, status->flags);
    ew_put_field(frame, 4u, status->rejected);
    ew_put_field(frame, 5u, status->lost);
    ew_put_field(frame, 6u, status->waiting);
}

void ew_add_pong(ew_frame *frame, const ew_pong *pong) {
    begin(frame, 4u, EW_PONG, pong->boot);
    ew_put_field(frame, 2u, pong->time_ns);
    ew_put_field(frame, 3u, pong->ticks);
}

uint16_t ew_write_samples(uint8_t *bytes, uint16_t size, const ew_samples *samples) {
    ew_frame frame;
    ew_frame_start(&frame, bytes, size);
    ew_add_samples(&frame, samples);
    return ew_frame_end(&frame);
}

uint16_t ew_write_status(uint8_t *bytes, uint16_t size, const ew_status *status) {
    ew_frame frame;
    ew_frame_start(&frame, bytes, size);
    ew_add_status(&frame, status);
    return ew_frame_end(&frame);
}

uint16_t ew_write_pong(uint8_t *bytes, uint16_t size, const ew_pong *pong) {
    ew_frame frame;
    ew_frame_start(&frame, bytes, size);
    ew_add_pong(&frame, pong);
    return ew_frame_end(&frame);
}

static ew_result read_wanted(const ew_body *body, const ew_item *map, ew_command *command) {
    ew_item wanted;
    ew_result result = EW_OK;
    if (!ew_find(body, map, 2u, &wanted)) {
        result = EW_MISSING_FIELD;
    } else if ((wanted.major != EW_CBOR_MAP) || (wanted.argument < 1u) || (wanted.argument > EW_MAX_CHANNELS)) {
        result = EW_WRONG_FIELD;
    } else {
        uint16_t at = wanted.at;
        command->of.wanted.count = (uint8_t)wanted.argument;
        for (uint8_t i = 0; i < command->of.wanted.count; i++) {
            ew_item stream;
            ew_item seq;
            const uint16_t seq_at = ew_item_end(body, at);
            if (!ew_item_at(body, at, &stream) || (stream.major != EW_CBOR_UINT) ||
                (stream.argument > EW_MAX_STREAM_ID) || !ew_item_at(body, seq_at, &seq) ||
                (seq.major != EW_CBOR_UINT) || (seq.argument > UINT32_MAX)) {
                result = EW_WRONG_FIELD;
                break;
            }
            command->of.wanted.stream[i] = (uint8_t)stream.argument;
            command->of.wanted.seq[i] = (uint32_t)seq.argument;
            at = ew_item_end(body, seq_at);
        }
    }
    return result;
}

static ew_result read_rate(const ew_body *body, const ew_item *map, ew_command *command) {
    uint32_t stream = 0;
    ew_result result = ew_take_u32(body, map, 2u, 0u, EW_MAX_STREAM_ID, &stream);
    if (result == EW_OK) {
        result = ew_take_u32(body, map, 3u, EW_MIN_PERIOD_US, EW_MAX_PERIOD_US, &command->of.rate.period_us);
    }
    command->of.rate.stream = (uint8_t)stream;
    return result;
}

/* Reads what follows the boot id; start and stop have no more. */
static ew_result read_rest(const ew_body *body, const ew_item *map, ew_command *command) {
    ew_result result = EW_OK;
    if (command->type == EW_SET_RATE) {
        result = read_rate(body, map, command);
    } else if ((command->type == EW_ACK) || (command->type == EW_RESUME)) {
        result = read_wanted(body, map, command);
    } else {
        result = EW_OK;
    }
    return result;
}

ew_result ew_read_command(const ew_body *body, ew_command *command) {
    ew_item map;
    uint64_t type = 0;
    ew_result result = ew_open(body, &map, &type);
    if (result != EW_OK) {
        return result;
    }
    if ((type < (uint8_t)EW_PING) || (type > (uint8_t)EW_RESUME)) {
        return EW_UNKNOWN_MESSAGE;
    }
    command->type = (ew_type)type;
    command->boot = 0;
    if (command->type == EW_PING) {
        result = ew_take_u64(body, &map, 2u, 0u, UINT64_MAX, &command->of.time_ns);
    } else if (command->type == EW_IDENTIFY) {
        result = ew_take_u32(body, &map, 2u, 1u, UINT32_MAX, &command->of.version);
    } else {
        result = ew_take_u32(body, &map, 1u, 0u, UINT32_MAX, &command->boot);
        if (result == EW_OK) {
            result = read_rest(body, &map, command);
        }
    }
    return result;
}
