/* Reading a hello: who the device is, and its channel table. */
#ifndef EW_HELLO_READ_H
#define EW_HELLO_READ_H

#include "ew_cbor_read.h"
#include "ew_host.h"

/* Takes a hello from the map of a body. */
ew_result ew_read_hello(const ew_body *body, const ew_item *map, ew_hello_report *hello);

#endif
