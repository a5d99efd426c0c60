/* Sleep until there is something to do. */
#ifndef REST_H
#define REST_H

#include <avr/io.h>

/* Say, from an interrupt, that there is something to do: one instruction, since the bit lies where it can. */
#define REST_NEWS() (GPIOR0 |= 1U)

/* Sleep until there is news. Timers, serial line and pins go on and wake the core; most of the time it sleeps. */
void rest(void);

#endif
