#include "ew_cbor_write.h"

#include <string.h>

/* Writes an initial byte and the `count` lowest bytes of a number, the most significant first. */
static void put_initial(ew_frame *frame, uint8_t major, uint8_t info, uint64_t value, uint8_t count) {
    ew_frame_put(frame, (uint8_t)((uint8_t)(major << 5) | info));
    for (uint8_t left = count; left > 0u; left--) {
        ew_frame_put(frame, (uint8_t)((value >> (8u * (left - 1u))) & 0xFFu));
    }
}

void ew_put_head(ew_frame *frame, uint8_t major, uint64_t argument) {
    if (argument < 24u) {
        put_initial(frame, major, (uint8_t)argument, 0u, 0u);
    } else if (argument <= 0xFFu) {
        put_initial(frame, major, 24u, argument, 1u);
    } else if (argument <= 0xFFFFu) {
        put_initial(frame, major, 25u, argument, 2u);
    } else if (argument <= 0xFFFFFFFFu) {
        put_initial(frame, major, 26u, argument, 4u);
    } else {
        put_initial(frame, major, 27u, argument, 8u);
    }
}

void ew_put_uint(ew_frame *frame, uint64_t value) {
    ew_put_head(frame, EW_CBOR_UINT, value);
}

void ew_put_int(ew_frame *frame, int32_t value) {
    if (value < 0) {
        ew_put_head(frame, EW_CBOR_NEGATIVE, (uint32_t)(-(value + 1)));
    } else {
        ew_put_head(frame, EW_CBOR_UINT, (uint32_t)value);
    }
}

void ew_put_field(ew_frame *frame, uint8_t key, uint64_t value) {
    ew_put_uint(frame, key);
    ew_put_uint(frame, value);
}

void ew_put_text(ew_frame *frame, const char *text, uint8_t most) {
    uint8_t length = 0;
    while ((length < most) && (text[length] != '\0')) {
        length++;
    }
    ew_put_head(frame, EW_CBOR_TEXT, length);
    for (uint8_t i = 0; i < length; i++) {
        ew_frame_put(frame, (uint8_t)text[i]);
    }
}

/* Says whether a finite 32-bit float is also a 16-bit float (IEEE 754), and which. */
static bool as_half(uint32_t single, uint16_t *half) {
    const uint16_t sign = (uint16_t)((single >> 16) & 0x8000u);
    const int16_t exponent = (int16_t)((int16_t)((single >> 23) & 0xFFu) - 127);
    const uint32_t fraction = single & 0x7FFFFFul;
    bool exact = false;
    if ((single & 0x7FFFFFFFul) == 0u) {
        *half = sign;
        exact = true;
    } else if ((exponent >= -14) && (exponent <= 15) && ((fraction & 0x1FFFul) == 0u)) {
        *half = (uint16_t)(sign | (uint16_t)((uint16_t)(exponent + 15) << 10) | (uint16_t)(fraction >> 13));
        exact = true;
    } else if ((exponent >= -24) && (exponent < -14)) {
        /* A subnormal one: its last digit is worth 2 to the power of -24. */
        const uint32_t whole = fraction | 0x800000ul;
        const uint8_t shift = (uint8_t)(-1 - exponent);
        if ((whole & ((1ul << shift) - 1ul)) == 0u) {
            *half = (uint16_t)(sign | (uint16_t)(whole >> shift));
            exact = true;
        }
    } else {
        exact = false;
    }
    return exact;
}

void ew_put_float(ew_frame *frame, double value) {
    const float single = (float)value;
    uint32_t bits = 0;
    uint16_t half = 0;
    memcpy(&bits, &single, sizeof bits);
    if ((double)single != value) {
#if __SIZEOF_DOUBLE__ > 4
        uint64_t wide = 0;
        memcpy(&wide, &value, sizeof wide);
        put_initial(frame, EW_CBOR_SIMPLE, EW_CBOR_FLOAT64, wide, 8u);
#endif
    } else if (as_half(bits, &half)) {
        put_initial(frame, EW_CBOR_SIMPLE, EW_CBOR_FLOAT16, half, 2u);
    } else {
        put_initial(frame, EW_CBOR_SIMPLE, EW_CBOR_FLOAT32, bits, 4u);
    }
}
