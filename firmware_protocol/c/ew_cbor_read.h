/* Items of CBOR in a body received: bounded, without recursion. */
#ifndef EW_CBOR_READ_H
#define EW_CBOR_READ_H

#include <stdbool.h>
#include <stdint.h>

#include "ew_cbor.h"
#include "ew_frame.h"

/* An item's head, and where what follows it begins: its bytes, its entries, or the next item. */
typedef struct {
    uint8_t major;
    uint8_t info;
    uint16_t at;
    uint64_t argument;
} ew_item;

/* Returns where the first item of a body ends, or 0 unless it is well-formed, of definite length, nested no deeper than
 * EW_MAX_NESTING, and has no key twice in a map. Everything below is for bodies that end there. */
uint16_t ew_sound_end(const ew_body *body);

/* Reads the head of the item at `at`; false if there is none, or its bytes go beyond the end. */
bool ew_item_at(const ew_body *body, uint16_t at, ew_item *item);

/* Returns where the item at `at` ends, or 0 if it goes beyond the end. */
uint16_t ew_item_end(const ew_body *body, uint16_t at);

/* Finds what the map `map` has under a key; false if it has none. */
bool ew_find(const ew_body *body, const ew_item *map, uint8_t key, ew_item *value);

/* Takes a whole number from `least` to `most` from under a key of a map. */
ew_result ew_take_u64(
    const ew_body *body, const ew_item *map, uint8_t key, uint64_t least, uint64_t most, uint64_t *value
);
ew_result ew_take_u32(
    const ew_body *body, const ew_item *map, uint8_t key, uint32_t least, uint32_t most, uint32_t *value
);

/* Opens a body: checks it, and returns its map and the message type under key 0. */
ew_result ew_open(const ew_body *body, ew_item *map, uint64_t *type);

#endif
