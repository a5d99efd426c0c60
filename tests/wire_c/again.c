#include "again.h"

#include <string.h>

static void channel_at(void *source, uint8_t index, ew_channel *channel) {
    *channel = ((const ew_hello_report *)source)->channels[index];
}

static void item_at(void *source, ew_array array, uint8_t index, uint8_t *bytes) {
    const ew_report *report = source;
    const ew_numbers *numbers = (array == EW_OFFSETS)  ? &report->of.samples.offsets
                                : (array == EW_VALUES) ? &report->of.samples.values
                                                       : &report->of.samples.faults;
    const uint8_t size = ew_item_bytes(numbers->tag);
    memcpy(bytes, &numbers->bytes[(size_t)size * index], size);
}

static uint16_t write_hello(uint8_t *bytes, uint16_t size, const ew_hello_report *read) {
    const ew_hello hello = {
        .boot = read->boot,
        .device = read->device,
        .firmware = read->firmware,
        .channel_count = read->channel_count,
        .ticks = read->ticks,
        .frame_period_ms = read->frame_period_ms,
        .ring_ms = read->ring_ms,
        .channel_at = channel_at,
        .source = (void *)read,
    };
    return ew_write_hello(bytes, size, &hello);
}

static ew_samples samples_of(const ew_report *read) {
    const ew_samples samples = {
        .boot = read->of.samples.boot,
        .stream = read->of.samples.stream,
        .count = read->of.samples.values.count,
        .values_tag = read->of.samples.values.tag,
        .has_faults = read->of.samples.faults.tag > 0u,
        .first_seq = read->of.samples.first_seq,
        .oldest_seq = read->of.samples.oldest_seq,
        .ticks = read->of.samples.ticks,
        .period_us = read->of.samples.period_us,
        .item_at = item_at,
        .source = (void *)read,
    };
    return samples;
}

static uint16_t write_samples(uint8_t *bytes, uint16_t size, const ew_report *read) {
    const ew_samples samples = samples_of(read);
    return ew_write_samples(bytes, size, &samples);
}

void add_report(ew_frame *frame, const ew_report *report) {
    if (report->type == EW_SAMPLES) {
        const ew_samples samples = samples_of(report);
        ew_add_samples(frame, &samples);
    } else if (report->type == EW_STATUS) {
        ew_add_status(frame, &report->of.status);
    } else if (report->type == EW_PONG) {
        ew_add_pong(frame, &report->of.pong);
    }
}

uint16_t write_report(uint8_t *bytes, uint16_t size, const ew_report *report) {
    switch (report->type) {
        case EW_HELLO:
            return write_hello(bytes, size, &report->of.hello);
        case EW_SAMPLES:
            return write_samples(bytes, size, report);
        case EW_STATUS:
            return ew_write_status(bytes, size, &report->of.status);
        case EW_PONG:
            return ew_write_pong(bytes, size, &report->of.pong);
        default:
            return 0;
    }
}
