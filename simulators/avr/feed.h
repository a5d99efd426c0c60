/* What happens at the bench, moment by moment, as lines on the standard input. */
#ifndef FEED_H
#define FEED_H

#include <stdbool.h>
#include <stdint.h>

typedef struct {
    uint64_t at_us;
    char what[16];
    double value;
    unsigned faults;
} happening_t;

/* Wait for the next line and read it; false at the end. Ends the program with a message where a line is none of these, or
   goes back in time. */
bool feed_next(happening_t *happening);

#endif
