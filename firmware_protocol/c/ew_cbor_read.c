#include "ew_cbor_read.h"

#include <string.h>

/* One map, array or tag that is not finished. */
typedef struct {
    uint16_t left;      /* items to come */
    uint16_t first_key; /* where the first key stands; 0 for what is no map */
} level;

static bool has_bytes(const ew_item *item) {
    return (item->major == EW_CBOR_BYTES) || (item->major == EW_CBOR_TEXT);
}

/* Returns how many items stand within an item; at most one more than there are bytes in a body. */
static uint16_t children(const ew_item *item) {
    const uint16_t most = EW_MAX_BODY_BYTES + 1u;
    uint16_t count = 0;
    if (item->major == EW_CBOR_TAG) {
        count = 1;
    } else if (item->major == EW_CBOR_ARRAY) {
        count = (item->argument < most) ? (uint16_t)item->argument : most;
    } else if (item->major == EW_CBOR_MAP) {
        count = (item->argument < (most / 2u)) ? (uint16_t)(item->argument * 2u) : most;
    } else {
        count = 0;
    }
    return count;
}

/* Returns where an item's bytes end, if it has any. */
static uint16_t after_bytes(const ew_item *item) {
    return has_bytes(item) ? (uint16_t)(item->at + item->argument) : item->at;
}

bool ew_item_at(const ew_body *body, uint16_t at, ew_item *item) {
    if (at >= body->length) {
        return false;
    }
    item->major = (uint8_t)(body->bytes[at] >> 5);
    item->info = (uint8_t)(body->bytes[at] & 0x1Fu);
    item->argument = item->info;
    item->at = (uint16_t)(at + 1u);
    if (item->info > EW_CBOR_FLOAT64) {
        return false; /* 28 to 30 mean nothing, 31 an indefinite length or its end */
    }
    if (item->info >= 24u) {
        const uint8_t count = (uint8_t)(1u << (item->info - 24u));
        if (count > (body->length - item->at)) {
            return false;
        }
        item->argument = 0;
        for (uint8_t i = 0; i < count; i++) {
            item->argument = (item->argument << 8) | body->bytes[item->at];
            item->at++;
        }
        if ((item->major == EW_CBOR_SIMPLE) && (count == 1u) && (item->argument < 32u)) {
            return false; /* RFC 8949, section 3.3 */
        }
    }
    return !has_bytes(item) || (item->argument <= (uint64_t)(body->length - item->at));
}

uint16_t ew_item_end(const ew_body *body, uint16_t at) {
    uint16_t left = 1;
    ew_item item;
    while (left > 0u) {
        if (!ew_item_at(body, at, &item) || (children(&item) > body->length)) {
            return 0;
        }
        at = after_bytes(&item);
        left = (uint16_t)(left - 1u + children(&item));
        if (left > (uint16_t)(body->length - at)) {
            return 0;
        }
    }
    return at;
}

/* Says whether two keys are the same: numbers by their value, whatever their form; others byte by byte. */
static bool same_key(const ew_body *body, uint16_t a, uint16_t b) {
    ew_item first;
    ew_item second;
    bool same = false;
    if (ew_item_at(body, a, &first) && ew_item_at(body, b, &second) && (first.major == second.major)) {
        if (first.major <= EW_CBOR_NEGATIVE) {
            same = first.argument == second.argument;
        } else {
            const uint16_t a_end = ew_item_end(body, a);
            const uint16_t b_end = ew_item_end(body, b);
            same = (a_end > 0u) && (b_end > 0u) && ((a_end - a) == (b_end - b)) &&
                   (memcmp(&body->bytes[a], &body->bytes[b], (size_t)(a_end - a)) == 0);
        }
    }
    return same;
}

static bool is_repeated(const ew_body *body, uint16_t first_key, uint16_t key) {
    uint16_t at = first_key;
    while (at < key) {
        if (same_key(body, at, key)) {
            return true;
        }
        at = ew_item_end(body, ew_item_end(body, at));
    }
    return false;
}

uint16_t ew_sound_end(const ew_body *body) {
    level levels[EW_MAX_NESTING];
    uint8_t depth = 0;
    uint16_t at = 0;
    ew_item item;
    do {
        if (!ew_item_at(body, at, &item)) {
            return 0;
        }
        if (depth > 0u) {
            level *inner = &levels[depth - 1u];
            const bool is_key = (inner->first_key > 0u) && ((inner->left % 2u) == 0u);
            if (is_key && is_repeated(body, inner->first_key, at)) {
                return 0;
            }
            inner->left--;
        }
        at = after_bytes(&item);
        const uint16_t within = children(&item);
        if (within > 0u) {
            if ((depth == EW_MAX_NESTING) || (within > (uint16_t)(body->length - at))) {
                return 0;
            }
            levels[depth].left = within;
            levels[depth].first_key = (item.major == EW_CBOR_MAP) ? at : 0u;
            depth++;
        }
        while ((depth > 0u) && (levels[depth - 1u].left == 0u)) {
            depth--;
        }
    } while (depth > 0u);
    return at;
}

bool ew_find(const ew_body *body, const ew_item *map, uint8_t key, ew_item *value) {
    uint16_t at = map->at;
    for (uint16_t i = 0; i < map->argument; i++) {
        ew_item found;
        const bool read = ew_item_at(body, at, &found);
        const uint16_t value_at = ew_item_end(body, at);
        if (read && (found.major == EW_CBOR_UINT) && (found.argument == key)) {
            return ew_item_at(body, value_at, value);
        }
        at = ew_item_end(body, value_at);
    }
    return false;
}

ew_result ew_take_u64(
    const ew_body *body, const ew_item *map, uint8_t key, uint64_t least, uint64_t most, uint64_t *value
) {
    ew_item item;
    ew_result result = EW_MISSING_FIELD;
    if (ew_find(body, map, key, &item)) {
        if ((item.major == EW_CBOR_UINT) && (item.argument >= least) && (item.argument <= most)) {
            *value = item.argument;
            result = EW_OK;
        } else {
            result = EW_WRONG_FIELD;
        }
    }
    return result;
}

ew_result ew_take_u32(
    const ew_body *body, const ew_item *map, uint8_t key, uint32_t least, uint32_t most, uint32_t *value
) {
    uint64_t number = 0;
    const ew_result result = ew_take_u64(body, map, key, least, most, &number);
    *value = (uint32_t)number;
    return result;
}

ew_result ew_open(const ew_body *body, ew_item *map, uint64_t *type) {
    ew_result result = EW_OK;
    ew_item item;
    const uint16_t end = ew_sound_end(body);
    if ((end == 0u) || (end != body->length)) {
        result = EW_NOT_CBOR;
    } else if (!ew_item_at(body, 0u, map) || (map->major != EW_CBOR_MAP) || !ew_find(body, map, 0u, &item)) {
        result = EW_NOT_A_MESSAGE;
    } else if (item.major == EW_CBOR_NEGATIVE) {
        result = EW_UNKNOWN_MESSAGE;
    } else if (item.major != EW_CBOR_UINT) {
        result = EW_NOT_A_MESSAGE;
    } else {
        *type = item.argument;
    }
    return result;
}
