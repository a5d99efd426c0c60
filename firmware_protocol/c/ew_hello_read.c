#include "ew_hello_read.h"

#include <math.h>
#include <string.h>

#define MIN_SCALE 1e-12
#define MAX_SCALE 1e12

/* Takes a text of 1 to `most` printable ASCII characters without blanks. */
static ew_result take_text(const ew_body *body, const ew_item *map, uint8_t key, uint8_t most, char *text) {
    ew_item item;
    if (!ew_find(body, map, key, &item)) {
        return EW_MISSING_FIELD;
    }
    if ((item.major != EW_CBOR_TEXT) || (item.argument < 1u) || (item.argument > most)) {
        return EW_WRONG_FIELD;
    }
    const uint8_t length = (uint8_t)item.argument;
    for (uint8_t i = 0; i < length; i++) {
        const uint8_t byte = body->bytes[item.at + i];
        if ((byte <= (uint8_t)' ') || (byte > (uint8_t)'~')) {
            return EW_WRONG_FIELD;
        }
        text[i] = (char)byte;
    }
    text[length] = '\0';
    return EW_OK;
}

static double from_half(uint16_t half) {
    const int exponent = (int)((half >> 10) & 0x1Fu);
    const double fraction = (double)(half & 0x3FFu);
    double size = 0.0;
    if (exponent == 0) {
        size = ldexp(fraction, -24);
    } else if (exponent == 31) {
        size = 0.0; /* infinite or no number: out of bounds, as 0 is */
    } else {
        size = ldexp(fraction + 1024.0, exponent - 25);
    }
    return ((half & 0x8000u) != 0u) ? -size : size;
}

static double from_single(uint32_t bits) {
    float value = 0.0f;
    memcpy(&value, &bits, sizeof value);
    return (double)value;
}

static double from_double(uint64_t bits) {
    double value = 0.0;
    memcpy(&value, &bits, sizeof value);
    return value;
}

/* Takes a number, whole or not, with a size from MIN_SCALE to MAX_SCALE. */
static ew_result take_scale(const ew_body *body, const ew_item *map, uint8_t key, double *scale) {
    ew_item item;
    double number = 0.0;
    if (!ew_find(body, map, key, &item)) {
        return EW_MISSING_FIELD;
    }
    if (item.major == EW_CBOR_UINT) {
        number = (double)item.argument;
    } else if (item.major == EW_CBOR_NEGATIVE) {
        number = -1.0 - (double)item.argument;
    } else if ((item.major == EW_CBOR_SIMPLE) && (item.info == EW_CBOR_FLOAT16)) {
        number = from_half((uint16_t)item.argument);
    } else if ((item.major == EW_CBOR_SIMPLE) && (item.info == EW_CBOR_FLOAT32)) {
        number = from_single((uint32_t)item.argument);
    } else if ((item.major == EW_CBOR_SIMPLE) && (item.info == EW_CBOR_FLOAT64)) {
        number = from_double(item.argument);
    } else {
        return EW_WRONG_FIELD;
    }
    *scale = number;
    return ((fabs(number) >= MIN_SCALE) && (fabs(number) <= MAX_SCALE)) ? EW_OK : EW_WRONG_FIELD;
}

static ew_result take_zero(const ew_body *body, const ew_item *map, uint8_t key, int32_t *zero) {
    ew_item item;
    ew_result result = EW_WRONG_FIELD;
    if (!ew_find(body, map, key, &item)) {
        result = EW_MISSING_FIELD;
    } else if ((item.major == EW_CBOR_UINT) && (item.argument <= (uint64_t)INT32_MAX)) {
        *zero = (int32_t)item.argument;
        result = EW_OK;
    } else if ((item.major == EW_CBOR_NEGATIVE) && (item.argument <= (uint64_t)INT32_MAX)) {
        *zero = -1 - (int32_t)item.argument;
        result = EW_OK;
    } else {
        result = EW_WRONG_FIELD;
    }
    return result;
}

/* Takes a stream that need not be there. */
static ew_result take_served(const ew_body *body, const ew_item *map, uint8_t key, uint8_t *stream) {
    uint32_t number = EW_NO_STREAM;
    ew_result result = ew_take_u32(body, map, key, 0u, EW_MAX_STREAM_ID, &number);
    if (result == EW_MISSING_FIELD) {
        number = EW_NO_STREAM;
        result = EW_OK;
    }
    *stream = (uint8_t)number;
    return result;
}

static ew_result read_channel(const ew_body *body, const ew_item *map, ew_channel *channel) {
    uint32_t id = 0;
    uint32_t kind = 0;
    ew_result result = ew_take_u32(body, map, 0u, 0u, EW_MAX_STREAM_ID, &id);
    if (result == EW_OK) {
        result = take_text(body, map, 1u, EW_MAX_NAME_BYTES, channel->name);
    }
    if (result == EW_OK) {
        result = ew_take_u32(body, map, 2u, (uint8_t)EW_BRIDGE_COUNTS, (uint8_t)EW_CARBON_MONOXIDE, &kind);
    }
    if (result == EW_OK) {
        result = ew_take_u32(body, map, 3u, EW_MIN_PERIOD_US, EW_MAX_PERIOD_US, &channel->period_us);
    }
    if (result == EW_OK) {
        result = take_scale(body, map, 4u, &channel->scale);
    }
    if (result == EW_OK) {
        result = take_zero(body, map, 5u, &channel->zero);
    }
    if (result == EW_OK) {
        result = take_served(body, map, 6u, &channel->serves);
    }
    channel->id = (uint8_t)id;
    channel->kind = (uint8_t)kind;
    return result;
}

static bool is_unique(const ew_hello_report *hello, uint8_t index) {
    const ew_channel *channels = hello->channels;
    bool unique = true;
    for (uint8_t i = 0; i < index; i++) {
        if ((channels[i].id == channels[index].id) || (strcmp(channels[i].name, channels[index].name) == 0)) {
            unique = false;
        }
    }
    return unique;
}

static ew_result read_channels(const ew_body *body, const ew_item *map, ew_hello_report *hello) {
    ew_item table;
    if (!ew_find(body, map, 5u, &table)) {
        return EW_MISSING_FIELD;
    }
    if ((table.major != EW_CBOR_ARRAY) || (table.argument < 1u) || (table.argument > EW_MAX_CHANNELS)) {
        return EW_WRONG_FIELD;
    }
    hello->channel_count = (uint8_t)table.argument;
    uint16_t at = table.at;
    for (uint8_t i = 0; i < hello->channel_count; i++) {
        ew_item entry;
        if (!ew_item_at(body, at, &entry) || (entry.major != EW_CBOR_MAP)) {
            return EW_WRONG_FIELD;
        }
        const ew_result result = read_channel(body, &entry, &hello->channels[i]);
        if (result != EW_OK) {
            return result;
        }
        if (!is_unique(hello, i)) {
            return EW_WRONG_FIELD;
        }
        at = ew_item_end(body, at);
    }
    return EW_OK;
}

ew_result ew_read_hello(const ew_body *body, const ew_item *map, ew_hello_report *hello) {
    uint64_t version = 0;
    uint32_t frame_period_ms = 0;
    /* The version first: of another one nothing else is known. */
    ew_result result = ew_take_u64(body, map, 2u, 0u, UINT64_MAX, &version);
    if ((result == EW_OK) && (version != EW_PROTOCOL_VERSION)) {
        result = EW_UNSUPPORTED_VERSION;
    }
    if (result == EW_OK) {
        result = ew_take_u32(body, map, 1u, 0u, UINT32_MAX, &hello->boot);
    }
    if (result == EW_OK) {
        result = take_text(body, map, 3u, EW_MAX_DEVICE_BYTES, hello->device);
    }
    if (result == EW_OK) {
        result = take_text(body, map, 4u, EW_MAX_FIRMWARE_BYTES, hello->firmware);
    }
    if (result == EW_OK) {
        result = read_channels(body, map, hello);
    }
    if (result == EW_OK) {
        result = ew_take_u32(body, map, 6u, 0u, UINT32_MAX, &hello->ticks);
    }
    if (result == EW_OK) {
        result = ew_take_u32(body, map, 7u, 1u, EW_MAX_FRAME_PERIOD_MS, &frame_period_ms);
    }
    if (result == EW_OK) {
        result = ew_take_u32(body, map, 8u, 0u, EW_MAX_RING_MS, &hello->ring_ms);
    }
    hello->frame_period_ms = (uint16_t)frame_period_ms;
    return result;
}
