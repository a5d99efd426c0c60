/* The serial line: the emulated UART on one end, a pseudo-terminal behind a link on the other. */
#ifndef LINE_H
#define LINE_H

#include "core.h"

typedef struct line line_t;

/* Open a pseudo-terminal, which is looked at so often, and have a link point at it; ends the program with a message if that
   cannot be done. */
line_t *line_open(core_t *core, const char *link, uint64_t look_us);

/* Hear the UART again after a reset. */
void line_attach(line_t *line);

/* Pass on what has come from either side. From the host, a byte goes to the UART no sooner than the line carries it; to the
   host, what the terminal has no room for is lost. Returns when it should be called again, in microseconds. */
uint64_t line_carry(line_t *line, uint64_t now_us);

/* Return whether the host has sent something while the board was off, and forget it. */
bool line_wakes(line_t *line);

/* Return how many bytes were lost for want of room. */
unsigned line_lost(const line_t *line);

void line_close(line_t *line);

#endif
