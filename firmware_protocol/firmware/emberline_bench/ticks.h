/* The free-running counter of microseconds, 32 bits, and the beat that wakes the sleeping core. */
#ifndef TICKS_H
#define TICKS_H

#include <stdint.h>

#define BEAT_US 4096UL

/* Microseconds at the last beat. It starts anywhere, and is never set. */
extern volatile uint32_t ticks_at_beat;

/* Start timer 1. */
void ticks_begin(void);

/* Return the counter; from a place where interrupts are off, too. */
uint32_t ticks_now(void);

#endif
