/* The serial line, by interrupts: bytes come into a small queue, a frame goes out of the one buffer that there is. */
#ifndef LINE_H
#define LINE_H

#include <stdbool.h>
#include <stdint.h>

#include "config.h"

#define LINE_FRAME_BYTES ((uint16_t)CONFIG_FRAME_BYTES)

void line_begin(void);

/* Take out a byte that has come; false if none waits. */
bool line_take(uint8_t *byte);

/* Return the buffer for the next frame, or NULL while one is being sent. */
uint8_t *line_free(void);

/* Send so many bytes of the buffer. */
void line_send(uint16_t length);

#endif
