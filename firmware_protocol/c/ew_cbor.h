/* The major types of CBOR (RFC 8949, section 3.1), and the typed arrays in use (RFC 8746, section 2.1). */
#ifndef EW_CBOR_H
#define EW_CBOR_H

#include <stdint.h>

#define EW_CBOR_UINT 0u
#define EW_CBOR_NEGATIVE 1u
#define EW_CBOR_BYTES 2u
#define EW_CBOR_TEXT 3u
#define EW_CBOR_ARRAY 4u
#define EW_CBOR_MAP 5u
#define EW_CBOR_TAG 6u
#define EW_CBOR_SIMPLE 7u /* also floats */

#define EW_CBOR_FLOAT16 25u
#define EW_CBOR_FLOAT32 26u
#define EW_CBOR_FLOAT64 27u

#define EW_TAG_UINT8 64u
#define EW_TAG_UINT16 69u
#define EW_TAG_UINT32 70u
#define EW_TAG_INT8 72u
#define EW_TAG_INT16 77u
#define EW_TAG_INT32 78u
#define EW_TAG_FLOAT32 85u
#define EW_TAG_FLOAT64 86u

/* Returns the bytes of one item of a typed array, or 0 for a tag that is not in use. */
uint8_t ew_item_bytes(uint64_t tag);

#endif
