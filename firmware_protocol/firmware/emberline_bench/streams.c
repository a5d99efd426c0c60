#include "streams.h"

#include <avr/pgmspace.h>

#include "air.h"
#include "bridge.h"
#include "config.h"
#include "ew_cbor.h"
#include "probes.h"
#include "ticks.h"

enum { MASS, WATER, FLAME, WATER_JUNCTION, FLAME_JUNCTION, AMBIENT, PRESSURE };

/* A converter of either class needs a tenth of a second for a reading. */
#define PROBE_LEAST_MS 100U
#define AIR_LEAST_MS 1000U
/* From power-up until the converters hold their first readings. */
#define WARMING_UP_US 400000UL
#define US_PER_MS 1000UL
#define STEP_US EW_OFFSET_UNIT_US

typedef struct {
    char name[EW_MAX_NAME_BYTES + 1U];
    uint8_t kind;
    uint8_t serves;
    bool wide;
    bool fitted;
    uint16_t least_ms;
    uint16_t period_ms;
    float scale;
} stream_t;

#define KIND_OF(chip) ((chip) == 31856 ? EW_THERMOCOUPLE_LINEARISED : EW_THERMOCOUPLE_FLAT)
#define SCALE_OF(chip) ((chip) == 31856 ? 1.0f / 128.0f : 0.25f)
#define JUNCTION_SCALE_OF(chip) ((chip) == 31856 ? 1.0f / 64.0f : 1.0f / 16.0f)

static const stream_t table[RING_STREAMS] PROGMEM = {
    [MASS] = {"mass", EW_BRIDGE_COUNTS, EW_NO_STREAM, true, true, 0, BRIDGE_SLOW_US / 1000UL, GRAMS_PER_COUNT},
    [WATER] = {"water", KIND_OF(WATER_CHIP), EW_NO_STREAM, WATER_CHIP == 31856, WATER_CHIP != 0, PROBE_LEAST_MS, 250,
               SCALE_OF(WATER_CHIP)},
    [FLAME] = {"flame", KIND_OF(FLAME_CHIP), EW_NO_STREAM, FLAME_CHIP == 31856, FLAME_CHIP != 0, PROBE_LEAST_MS, 250,
               SCALE_OF(FLAME_CHIP)},
    [WATER_JUNCTION] = {"water_cj", EW_COLD_JUNCTION, WATER, false, WATER_CHIP != 0, PROBE_LEAST_MS, 1000,
                        JUNCTION_SCALE_OF(WATER_CHIP)},
    [FLAME_JUNCTION] = {"flame_cj", EW_COLD_JUNCTION, FLAME, false, FLAME_CHIP != 0, PROBE_LEAST_MS, 1000,
                        JUNCTION_SCALE_OF(FLAME_CHIP)},
#if WITH_AIR
    [AMBIENT] = {"ambient", EW_TEMPERATURE, EW_NO_STREAM, false, true, AIR_LEAST_MS, 2000, 0.01f},
    [PRESSURE] = {"pressure", EW_PRESSURE, EW_NO_STREAM, true, true, AIR_LEAST_MS, 5000, 1.0f},
#endif
};

bool streams_sampling = true;

static uint16_t period_ms[RING_STREAMS]; /* a minute at most */
static uint32_t due_at[RING_STREAMS];

static bool is_fitted(uint8_t stream)
{
    return stream < RING_STREAMS && pgm_read_byte(&table[stream].fitted) != 0U;
}

static bool is_wide(uint8_t stream)
{
    return pgm_read_byte(&table[stream].wide) != 0U;
}

static uint32_t period_us(uint8_t stream)
{
    return period_ms[stream] * US_PER_MS;
}

void streams_begin(void)
{
    uint32_t now = ticks_now();
    uint8_t wide = 0;
    for (uint8_t i = 0; i < RING_STREAMS; i++) {
        period_ms[i] = pgm_read_word(&table[i].period_ms);
        due_at[i] = now + WARMING_UP_US;
        wide |= (uint8_t)((is_wide(i) ? 1U : 0U) << i);
    }
    ring_begin(wide);
    bridge_begin();
    probes_begin();
#if WITH_AIR
    air_begin();
#endif
}

static void keep(uint8_t stream, uint32_t ticks, int32_t value, uint8_t faults)
{
    if (streams_sampling) {
        ring_put(stream, ticks / STEP_US, value, faults);
    }
}

/* Return whether a stream is to be read, and if so note when it is again. */
static bool falls_due(uint8_t stream, uint32_t now)
{
    if (!is_fitted(stream) || (int32_t)(now - due_at[stream]) < 0) {
        return false;
    }
    due_at[stream] += period_us(stream);
    if ((int32_t)(now - due_at[stream]) >= 0) {
        due_at[stream] = now + period_us(stream);
    }
    return true;
}

static void read_probe(uint8_t probe, uint8_t stream, uint8_t junction)
{
    uint32_t now = ticks_now();
    bool probe_due = falls_due(stream, now);
    bool junction_due = falls_due(junction, now);
    if (!probe_due && !junction_due) {
        return;
    }
    probe_reading_t reading;
    probe_read(probe, &reading);
    if (probe_due) {
        keep(stream, now, reading.code, reading.faults);
    }
    if (junction_due) {
        keep(junction, now, reading.cold_junction, reading.cold_junction_faults);
    }
}

#if WITH_AIR
static void read_air(void)
{
    uint32_t now = ticks_now();
    bool ambient_due = falls_due(AMBIENT, now);
    bool pressure_due = falls_due(PRESSURE, now);
    if (!ambient_due && !pressure_due) {
        return;
    }
    air_reading_t reading;
    air_read(&reading);
    if (ambient_due) {
        keep(AMBIENT, now, reading.centidegrees, reading.faults);
    }
    if (pressure_due) {
        keep(PRESSURE, now, reading.pressure_pa, reading.faults);
    }
}
#endif

void streams_turn(void)
{
    bridge_reading_t bridge;
    if (bridge_read(&bridge)) {
        keep(MASS, bridge.ticks, bridge.code, bridge.faults);
    }
    read_probe(0, WATER, WATER_JUNCTION);
    read_probe(1, FLAME, FLAME_JUNCTION);
#if WITH_AIR
    read_air();
#endif
}

uint8_t streams_count(void)
{
    uint8_t count = 0;
    for (uint8_t i = 0; i < RING_STREAMS; i++) {
        count += is_fitted(i) ? 1U : 0U;
    }
    return count;
}

uint8_t streams_nth(uint8_t n)
{
    uint8_t stream = 0;
    for (;; stream++) {
        if (is_fitted(stream) && n-- == 0U) {
            return stream;
        }
    }
}

void streams_channel(uint8_t stream, ew_channel *channel)
{
    stream_t one;
    memcpy_P(&one, &table[stream], sizeof one);
    channel->id = stream;
    for (uint8_t i = 0; i < sizeof channel->name; i++) {
        channel->name[i] = one.name[i];
    }
    channel->kind = one.kind;
    channel->serves = one.serves;
    channel->period_us = period_us(stream);
    channel->scale = (double)one.scale;
    channel->zero = 0;
}

uint8_t streams_tag(uint8_t stream)
{
    return is_wide(stream) ? EW_TAG_INT32 : EW_TAG_INT16;
}

void streams_set_period(uint8_t stream, uint32_t period)
{
    if (!is_fitted(stream)) {
        return;
    }
    if (stream == MASS) {
        period_ms[stream] = (uint16_t)(bridge_set_period(period) / US_PER_MS);
        return;
    }
    uint16_t least = pgm_read_word(&table[stream].least_ms);
    uint16_t wanted = (uint16_t)((period + US_PER_MS / 2U) / US_PER_MS);
    period_ms[stream] = wanted < least ? least : wanted;
    due_at[stream] = ticks_now() + period_us(stream);
}

uint32_t streams_ring_ms(void)
{
    uint32_t bytes_in_1000_s = 0;
    for (uint8_t i = 0; i < RING_STREAMS; i++) {
        if (is_fitted(i)) {
            bytes_in_1000_s += (is_wide(i) ? 5UL : 4UL) * (1000000UL / period_ms[i]);
        }
    }
    return RING_BYTES * 1000000UL / bytes_in_1000_s;
}
