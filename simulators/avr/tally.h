/* What the firmware took, sent and was told of, boot by boot and stream by stream, as found in its variables. */
#ifndef TALLY_H
#define TALLY_H

#include "core.h"

typedef struct tally tally_t;

/* `air` says whether the firmware has the streams of a barometer. */
tally_t *tally_make(core_t *core, bool air);

/* Write down what the present boot has done: it ends here. */
void tally_end_of_boot(tally_t *tally);

/* Return how many samples the board keeps that the host has not acknowledged. */
unsigned tally_waiting(const tally_t *tally);

/* Note a number about the whole run. */
void tally_number(tally_t *tally, const char *name, double value);

/* Write it all as JSON; ends the program with a message if that cannot be done. */
void tally_write(const tally_t *tally, const char *path);

#endif
