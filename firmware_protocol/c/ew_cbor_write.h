/* CBOR into a frame, in the core deterministic encoding (RFC 8949, section 4.2.1). */
#ifndef EW_CBOR_WRITE_H
#define EW_CBOR_WRITE_H

#include <stdint.h>

#include "ew_cbor.h"
#include "ew_frame.h"

/* Writes the head of an item: its major type and its argument, in the shortest form. */
void ew_put_head(ew_frame *frame, uint8_t major, uint64_t argument);

void ew_put_uint(ew_frame *frame, uint64_t value);
void ew_put_int(ew_frame *frame, int32_t value);

/* Writes a key and the number that belongs to it. */
void ew_put_field(ew_frame *frame, uint8_t key, uint64_t value);

/* Writes at most `most` characters of `text`, up to its final zero. */
void ew_put_text(ew_frame *frame, const char *text, uint8_t most);

/* Writes a finite number as the shortest float that holds it. */
void ew_put_float(ew_frame *frame, double value);

#endif
