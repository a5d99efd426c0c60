#include "ew_cbor.h"

uint8_t ew_item_bytes(uint64_t tag) {
    uint8_t count = 0;
    if ((tag == EW_TAG_UINT8) || (tag == EW_TAG_INT8)) {
        count = 1;
    } else if ((tag == EW_TAG_UINT16) || (tag == EW_TAG_INT16)) {
        count = 2;
    } else if ((tag == EW_TAG_UINT32) || (tag == EW_TAG_INT32) || (tag == EW_TAG_FLOAT32)) {
        count = 4;
    } else if (tag == EW_TAG_FLOAT64) {
        count = 8;
    } else {
        count = 0;
    }
    return count;
}
