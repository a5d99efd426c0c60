/* What is kept until the host has stored it: the samples of all streams, in one ring, in the order in which they came.
 *
 * One ring for all serves any rates: what one stream does not need, another has. A record takes 2 bytes for its stream and
 * the time since the record before it, 2 or 3 for the value, and 1 for fault bits where there are any. Times are in the
 * protocol's steps of 32 us, 27 bits of them, as many as 32 bits of microseconds have. */
#ifndef RING_H
#define RING_H

#include <stdbool.h>
#include <stdint.h>

#include "config.h"

#define RING_STREAMS CONFIG_STREAMS
#define RING_BYTES CONFIG_RING_BYTES
#define RING_STEPS_MASK 0x7FFFFFFUL

/* What is known of a stream. The counts are of samples back from `taken`; they stay at 65,535 when nobody listens. */
typedef struct {
    uint32_t taken;  /* samples taken in this boot: the next sequence number */
    uint16_t kept;   /* in the ring */
    uint16_t unacknowledged;
    uint16_t unsent; /* to be sent, for the first time or again */
    uint16_t unheard; /* never sent */
} ring_stream_t;

/* A sample where it lies; nothing may be put or forgotten before its value and faults are read. */
typedef struct {
    uint32_t steps;
    uint16_t at;
    uint8_t stream;
    bool has_faults;
} ring_sample_t;

/* A place between two samples, on the way from the oldest to the newest. */
typedef struct {
    uint16_t at;
    uint16_t left;
    uint32_t steps;
} ring_place_t;

extern ring_stream_t ring_streams[RING_STREAMS];
extern uint32_t ring_lost; /* samples overwritten before they were acknowledged */

/* Begin with nothing. `wide` has a bit for each stream whose values take 3 bytes; others must fit 16 bits. */
void ring_begin(uint8_t wide);

/* Keep a sample; the oldest make room for it. */
void ring_put(uint8_t stream, uint32_t steps, int32_t value, uint8_t faults);

/* Forget everything of a stream before `wanted`; a number beyond what was sent is ignored. */
void ring_acknowledge(uint8_t stream, uint32_t wanted);

/* Send a stream again from `wanted`, or from the oldest that is kept. */
void ring_rewind(uint8_t stream, uint32_t wanted);

/* Note that `count` more samples of a stream are sent. */
void ring_sent(uint8_t stream, uint8_t count);

/* Return the number of the oldest sample of a stream that is kept, or of the next one where none is. */
uint32_t ring_oldest(uint8_t stream);

/* Find the oldest sample of any stream that is to be sent and was taken until `until`: the place before it, its stream and
   its number. False if there is none. All later ones of its stream are to be sent, too. */
bool ring_due(uint32_t until, ring_place_t *place, uint8_t *stream, uint32_t *seq);

/* Take the next sample after a place, of any stream; false at the end. */
bool ring_next(ring_place_t *place, ring_sample_t *sample);

int32_t ring_value(const ring_sample_t *sample);
uint8_t ring_faults(const ring_sample_t *sample);

/* Return whether a time is not after another; they must lie less than half an hour apart. */
bool ring_until(uint32_t steps, uint32_t until);

#endif
