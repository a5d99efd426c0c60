#include "ring.h"

/* A record's first two bytes, the lower one first: 12 bits of time, a bit for faults, 3 bits of stream. The time is since
   the record before, more by BACK, so that a sample stamped a little earlier may come a little later. */
#define TIME_MASK 0x0FFFU
#define FAULTS_BIT 0x1000U
#define STREAM_SHIFT 13U
#define BACK 640U
/* A pause: no sample, only time. Two more bytes hold its higher bits. */
#define PAUSE 7U
#define PAUSE_BYTES 4U
#define TIME_BITS 12U

/* The head of a record. */
typedef struct {
    uint32_t later; /* steps after the record before; what went back is a large number */
    uint8_t stream; /* or PAUSE */
    uint8_t bytes;
    bool has_faults;
} record_t;

ring_stream_t ring_streams[RING_STREAMS];
uint32_t ring_lost;

static uint8_t bytes[RING_BYTES];
static uint8_t wide_streams;
static uint16_t tail; /* where the oldest record is */
static uint16_t used;
static uint32_t before_tail; /* steps of the record before the oldest */
static uint32_t newest;      /* steps of the newest record */

static uint16_t moved(uint16_t at, uint16_t by)
{
    at += by;
    return at >= RING_BYTES ? at - RING_BYTES : at;
}

static uint8_t value_bytes(uint8_t stream)
{
    return (wide_streams & (uint8_t)(1U << stream)) != 0U ? 3U : 2U;
}

static uint16_t more(uint16_t count)
{
    return count < UINT16_MAX ? count + 1U : count;
}

static uint16_t two_at(uint16_t at)
{
    return bytes[at] | (uint16_t)(bytes[moved(at, 1U)] << 8);
}

static void read_head(uint16_t at, record_t *record)
{
    uint16_t head = two_at(at);
    record->stream = (uint8_t)(head >> 8) >> (STREAM_SHIFT - 8U);
    record->has_faults = (head & FAULTS_BIT) != 0U;
    if (record->stream == PAUSE) {
        record->later = (head & TIME_MASK) | (uint32_t)two_at(moved(at, 2U)) << TIME_BITS;
        record->bytes = PAUSE_BYTES;
        record->has_faults = false;
    } else {
        record->later = (uint32_t)(int16_t)((head & TIME_MASK) - BACK);
        record->bytes = (uint8_t)(2U + value_bytes(record->stream) + (record->has_faults ? 1U : 0U));
    }
}

static void drop_oldest(void)
{
    record_t record;
    read_head(tail, &record);
    before_tail = (before_tail + record.later) & RING_STEPS_MASK;
    tail = moved(tail, record.bytes);
    used -= record.bytes;
    if (record.stream == PAUSE) {
        return;
    }
    ring_stream_t *stream = &ring_streams[record.stream];
    if (stream->unacknowledged >= stream->kept) {
        ring_lost++;
    }
    stream->kept--;
    if (stream->unsent > stream->kept) {
        stream->unsent = stream->kept;
    }
}

/* What is acknowledged goes once it is the oldest; behind a sample of another stream it waits for that. */
static void drop_acknowledged(void)
{
    while (used > 0U) {
        record_t record;
        read_head(tail, &record);
        if (record.stream != PAUSE) {
            const ring_stream_t *stream = &ring_streams[record.stream];
            if (stream->unacknowledged >= stream->kept) {
                return;
            }
        }
        drop_oldest();
    }
}

static void append(uint8_t byte)
{
    bytes[moved(tail, used)] = byte;
    used++;
}

static void make_room(uint8_t size)
{
    while (used + size > RING_BYTES) {
        drop_oldest();
    }
}

void ring_begin(uint8_t wide)
{
    wide_streams = wide;
}

void ring_put(uint8_t stream, uint32_t steps, int32_t value, uint8_t faults)
{
    uint32_t later = (steps - newest + BACK) & RING_STEPS_MASK;
    newest = steps & RING_STEPS_MASK;
    if (later > TIME_MASK) {
        uint32_t pause = later - BACK;
        later = BACK;
        make_room(PAUSE_BYTES);
        append((uint8_t)pause);
        append((uint8_t)((pause >> 8 & 0x0FU) | PAUSE << (STREAM_SHIFT - 8U)));
        append((uint8_t)(pause >> TIME_BITS));
        append((uint8_t)(pause >> (TIME_BITS + 8U)));
    }
    uint8_t size = value_bytes(stream);
    make_room((uint8_t)(2U + size + (faults != 0U ? 1U : 0U)));
    uint16_t head = (uint16_t)(later | (uint16_t)stream << STREAM_SHIFT | (faults != 0U ? FAULTS_BIT : 0U));
    append((uint8_t)head);
    append((uint8_t)(head >> 8));
    append((uint8_t)value);
    append((uint8_t)((uint32_t)value >> 8));
    if (size == 3U) {
        append((uint8_t)((uint32_t)value >> 16));
    }
    if (faults != 0U) {
        append(faults);
    }
    ring_stream_t *one = &ring_streams[stream];
    one->taken++;
    one->kept++;
    one->unacknowledged = more(one->unacknowledged);
    one->unsent = more(one->unsent);
    one->unheard = more(one->unheard);
}

void ring_acknowledge(uint8_t stream, uint32_t wanted)
{
    ring_stream_t *one = &ring_streams[stream];
    uint32_t left = one->taken - wanted;
    if (left < one->unacknowledged && left >= one->unheard) {
        one->unacknowledged = (uint16_t)left;
        if (one->unsent > one->unacknowledged) {
            one->unsent = one->unacknowledged;
        }
        drop_acknowledged();
    }
}

void ring_rewind(uint8_t stream, uint32_t wanted)
{
    ring_stream_t *one = &ring_streams[stream];
    uint32_t back = one->taken - wanted;
    if (wanted > one->taken) {
        return;
    }
    if (back > one->kept) {
        back = one->kept;
    }
    if (back > one->unsent) {
        one->unsent = (uint16_t)back;
    }
}

void ring_sent(uint8_t stream, uint8_t count)
{
    ring_stream_t *one = &ring_streams[stream];
    one->unsent -= count;
    if (one->unheard > one->unsent) {
        one->unheard = one->unsent;
    }
}

uint32_t ring_oldest(uint8_t stream)
{
    return ring_streams[stream].taken - ring_streams[stream].kept;
}

bool ring_until(uint32_t steps, uint32_t until)
{
    return ((until - steps) & RING_STEPS_MASK) <= RING_STEPS_MASK / 2U;
}

bool ring_next(ring_place_t *place, ring_sample_t *sample)
{
    while (place->left > 0U) {
        record_t record;
        read_head(place->at, &record);
        sample->at = moved(place->at, 2U);
        sample->has_faults = record.has_faults;
        place->at = moved(place->at, record.bytes);
        place->left -= record.bytes;
        place->steps = (place->steps + record.later) & RING_STEPS_MASK;
        if (record.stream != PAUSE) {
            sample->stream = record.stream;
            sample->steps = place->steps;
            return true;
        }
    }
    return false;
}

int32_t ring_value(const ring_sample_t *sample)
{
    uint16_t low = two_at(sample->at);
    if (value_bytes(sample->stream) == 2U) {
        return (int16_t)low;
    }
    return (int32_t)(int8_t)bytes[moved(sample->at, 2U)] * 65536L + low;
}

uint8_t ring_faults(const ring_sample_t *sample)
{
    return sample->has_faults ? bytes[moved(sample->at, value_bytes(sample->stream))] : 0U;
}

bool ring_due(uint32_t until, ring_place_t *place, uint8_t *stream, uint32_t *seq)
{
    uint16_t back[RING_STREAMS];
    for (uint8_t i = 0; i < RING_STREAMS; i++) {
        back[i] = ring_streams[i].kept;
    }
    ring_place_t next = {tail, used, before_tail};
    ring_sample_t sample;
    *place = next;
    while (ring_next(&next, &sample)) {
        const ring_stream_t *one = &ring_streams[sample.stream];
        if (back[sample.stream] <= one->unsent && ring_until(sample.steps, until)) {
            *stream = sample.stream;
            *seq = one->taken - back[sample.stream];
            return true;
        }
        back[sample.stream]--;
        *place = next;
    }
    return false;
}
