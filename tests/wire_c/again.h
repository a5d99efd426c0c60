/* What was read of a message, written again. */
#ifndef AGAIN_H
#define AGAIN_H

#include "ew_device.h"
#include "ew_host.h"

uint16_t write_report(uint8_t *bytes, uint16_t size, const ew_report *report);

/* Adds what may stand with others in a frame; a hello may not, and is passed over. */
void add_report(ew_frame *frame, const ew_report *report);

#endif
