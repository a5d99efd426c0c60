/* The streams of this board: what each measures, how often, and what is read when. */
#ifndef STREAMS_H
#define STREAMS_H

#include <stdbool.h>
#include <stdint.h>

#include "ew_messages.h"
#include "ring.h"

/* Whether samples are taken; they are from the start. */
extern bool streams_sampling;

void streams_begin(void);

/* Read what is due, and keep it. */
void streams_turn(void);

uint8_t streams_count(void);

/* Return the stream that is the n-th in the channel table. */
uint8_t streams_nth(uint8_t n);

/* Fill in a stream's entry in the channel table. */
void streams_channel(uint8_t stream, ew_channel *channel);

/* Return the tag of a stream's values. */
uint8_t streams_tag(uint8_t stream);

/* Sample a stream every `period_us`, or as near to that as can be; nothing happens where there is no such stream. */
void streams_set_period(uint8_t stream, uint32_t period_us);

/* Return for how long the ring lasts at the present rates. */
uint32_t streams_ring_ms(void);

#endif
