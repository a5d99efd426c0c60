#include "talk.h"

#include <stddef.h>

#include "boots.h"
#include "config.h"
#include "ew_cbor.h"
#include "ew_device.h"
#include "line.h"
#include "ring.h"
#include "streams.h"
#include "ticks.h"

#define FIRMWARE "reference-1"

/* All in frame periods. */
#define STATUS_EVERY (10000U / TALK_FRAME_PERIOD_MS)
#define RESEND_AFTER (3000U / TALK_FRAME_PERIOD_MS)
#define HOST_GONE_AFTER (15000U / TALK_FRAME_PERIOD_MS)

/* What is left of a frame for its arrays, after delimiters, stuffing, checksum and all other fields. */
#define ARRAY_BYTES (LINE_FRAME_BYTES - EW_SAMPLES_OVERHEAD_BYTES)
#define STEP_US EW_OFFSET_UNIT_US
#define MOST_STEPS 0xFFFFU

static uint8_t received[EW_MAX_HOST_STUFFED_BYTES];
static ew_receiver receiver;
static uint32_t rejected;

static bool hello_due = true;
static bool status_due;
static bool pong_due;
static uint64_t pong_time_ns;
static uint32_t pong_ticks;
static bool samples_due;
static uint32_t send_until; /* samples taken later wait for the next frame period */

static uint32_t frame_due_at;
static uint8_t since_status;
static uint8_t since_heard = HOST_GONE_AFTER;
static uint8_t unanswered[RING_STREAMS]; /* frame periods in which what was sent waited in vain */

void talk_begin(void)
{
    ew_receiver_start(&receiver, received, sizeof received);
    frame_due_at = ticks_now() + TALK_FRAME_PERIOD_MS * 1000UL;
}

static uint16_t waiting_in(uint8_t stream)
{
    const ring_stream_t *one = &ring_streams[stream];
    return one->unacknowledged < one->kept ? one->unacknowledged : one->kept;
}

static void obey_wanted(const ew_command *command)
{
    for (uint8_t i = 0; i < command->of.wanted.count; i++) {
        uint8_t stream = command->of.wanted.stream[i];
        if (stream >= RING_STREAMS) {
            continue;
        }
        unanswered[stream] = 0;
        if (command->type == EW_ACK) {
            ring_acknowledge(stream, command->of.wanted.seq[i]);
        } else {
            ring_rewind(stream, command->of.wanted.seq[i]);
            samples_due = true;
        }
    }
}

static void obey(const ew_command *command, uint32_t ticks)
{
    since_heard = 0;
    if (command->type == EW_PING) {
        pong_due = true;
        pong_time_ns = command->of.time_ns;
        pong_ticks = ticks;
        return;
    }
    if (command->type == EW_IDENTIFY) {
        hello_due = true;
        return;
    }
    if (command->boot != boot_id) {
        return;
    }
    switch (command->type) {
    case EW_START:
    case EW_STOP:
        streams_sampling = command->type == EW_START;
        status_due = true;
        break;
    case EW_SET_RATE:
        streams_set_period(command->of.rate.stream, command->of.rate.period_us);
        hello_due = true;
        break;
    default:
        obey_wanted(command);
        break;
    }
}

static void hear(void)
{
    uint8_t byte;
    while (line_take(&byte)) {
        ew_body body;
        ew_command command;
        ew_result result = ew_receive(&receiver, byte, &body);
        if (result == EW_NOTHING) {
            continue;
        }
        if (result == EW_OK) {
            result = ew_read_command(&body, &command);
        }
        if (result == EW_OK) {
            obey(&command, ticks_now());
        } else {
            rejected++;
        }
    }
}

static void frame_period_is_over(void)
{
    frame_due_at += TALK_FRAME_PERIOD_MS * 1000UL;
    send_until = ticks_now() / STEP_US;
    samples_due = true;
    if (++since_status >= STATUS_EVERY) {
        since_status = 0;
        status_due = true;
    }
    if (since_heard < HOST_GONE_AFTER) {
        since_heard++;
    }
    for (uint8_t i = 0; i < RING_STREAMS; i++) {
        if (waiting_in(i) <= ring_streams[i].unsent) {
            unanswered[i] = 0;
        } else if (unanswered[i] < RESEND_AFTER) {
            unanswered[i]++;
        } else if (since_heard < HOST_GONE_AFTER) {
            unanswered[i] = 0;
            ring_rewind(i, ring_streams[i].taken - waiting_in(i));
        }
    }
}

static void channel_at(void *source, uint8_t index, ew_channel *channel)
{
    (void)source;
    streams_channel(streams_nth(index), channel);
}

static uint16_t write_hello(uint8_t *bytes)
{
    const ew_hello hello = {
        .boot = boot_id,
        .device = DEVICE_ID,
        .firmware = FIRMWARE,
        .channel_count = streams_count(),
        .ticks = ticks_now(),
        .frame_period_ms = TALK_FRAME_PERIOD_MS,
        .ring_ms = streams_ring_ms(),
        .channel_at = channel_at,
    };
    return ew_write_hello(bytes, LINE_FRAME_BYTES, &hello);
}

static uint16_t write_status(uint8_t *bytes)
{
    ew_status status = {.boot = boot_id, .ticks = ticks_now(), .rejected = rejected, .lost = ring_lost};
    status.flags = (streams_sampling ? EW_FLAG_SAMPLING : 0U) | (ring_lost > 0U ? EW_FLAG_OVERRAN : 0U) |
                   (boots_after_brown_out() ? EW_FLAG_BROWN_OUT : 0U);
    for (uint8_t i = 0; i < RING_STREAMS; i++) {
        status.waiting += waiting_in(i);
    }
    return ew_write_status(bytes, LINE_FRAME_BYTES, &status);
}

static uint16_t write_pong(uint8_t *bytes)
{
    const ew_pong pong = {boot_id, pong_time_ns, pong_ticks};
    return ew_write_pong(bytes, LINE_FRAME_BYTES, &pong);
}

/* Samples of one stream on their way from the ring into a frame. */
typedef struct {
    ring_place_t first;
    ring_place_t next;
    uint32_t first_steps;
    uint8_t stream;
} passage_t;

static bool next_of_stream(ring_place_t *place, uint8_t stream, ring_sample_t *sample)
{
    while (ring_next(place, sample)) {
        if (sample->stream == stream) {
            return true;
        }
    }
    return false;
}

static void item_at(void *source, ew_array array, uint8_t index, uint8_t *bytes)
{
    passage_t *passage = source;
    ring_sample_t sample = {0};
    if (index == 0U) {
        passage->next = passage->first;
    }
    (void)next_of_stream(&passage->next, passage->stream, &sample);
    if (array == EW_FAULTS) {
        bytes[0] = ring_faults(&sample);
        return;
    }
    uint32_t item = array == EW_OFFSETS ? (sample.steps - passage->first_steps) & RING_STEPS_MASK : (uint32_t)ring_value(&sample);
    bytes[0] = (uint8_t)item;
    bytes[1] = (uint8_t)(item >> 8);
    if (array == EW_VALUES && streams_tag(passage->stream) == EW_TAG_INT32) {
        bytes[2] = (uint8_t)(item >> 16);
        bytes[3] = (uint8_t)(item >> 24);
    }
}

static uint16_t write_samples(uint8_t *bytes)
{
    passage_t passage;
    ew_samples samples = {.boot = boot_id, .item_at = item_at, .source = &passage};
    if (!ring_due(send_until, &passage.first, &passage.stream, &samples.first_seq)) {
        samples_due = false;
        return 0;
    }
    samples.stream = passage.stream;
    samples.values_tag = streams_tag(passage.stream);
    samples.oldest_seq = ring_oldest(passage.stream);
    uint8_t most = (uint8_t)(ARRAY_BYTES / (ew_item_bytes(samples.values_tag) + 3U));
    ring_sample_t sample;
    passage.next = passage.first;
    while (samples.count < most && next_of_stream(&passage.next, passage.stream, &sample)) {
        if (samples.count == 0U) {
            passage.first_steps = sample.steps;
            samples.ticks = sample.steps * STEP_US;
        } else if (((sample.steps - passage.first_steps) & RING_STEPS_MASK) > MOST_STEPS ||
                   !ring_until(sample.steps, send_until)) {
            break;
        }
        samples.has_faults = samples.has_faults || sample.has_faults;
        samples.count++;
    }
    uint16_t length = ew_write_samples(bytes, LINE_FRAME_BYTES, &samples);
    ring_sent(passage.stream, samples.count);
    return length;
}

/* Write the frame that is due first into the line's buffer; 0 where none is. */
static uint16_t write_next(uint8_t *bytes)
{
    if (hello_due) {
        hello_due = false;
        return write_hello(bytes);
    }
    if (pong_due) {
        pong_due = false;
        return write_pong(bytes);
    }
    if (status_due) {
        status_due = false;
        return write_status(bytes);
    }
    return samples_due ? write_samples(bytes) : 0U;
}

void talk_turn(void)
{
    hear();
    if ((int32_t)(ticks_now() - frame_due_at) >= 0) {
        frame_period_is_over();
    }
    uint8_t *bytes = line_free();
    if (bytes != NULL) {
        uint16_t length = write_next(bytes);
        if (length > 0U) {
            line_send(length);
        }
    }
}
