#include "probes.h"

#include <avr/pgmspace.h>
#include <stdbool.h>

#include "config.h"
#include "ew_messages.h"
#include "pins.h"

/* Bits of a 31855's 32. */
#define FLAT_FAULT 0x10000UL
#define FLAT_SHORT_HIGH 4U
#define FLAT_SHORT_LOW 2U
#define FLAT_OPEN 1U
#define FLAT_MOST 0x1FFF /* 14 bits, in quarters of a degree */

/* Registers of a 31856 and what is written into them. */
#define CONTROL 0x00U
#define WRITE 0x80U
#define COLD_JUNCTION 0x0AU
#define AT_ONCE_AND_ON 0x91U /* converts without end, looks for an open lead, rejects 50 Hz */
#define RANGE_COLD_JUNCTION 0x80U
#define RANGE_THERMOCOUPLE 0x40U
#define BEYOND_SUPPLY 0x02U
#define LEAD_OPEN 0x01U

typedef struct {
    uint8_t select;
    uint16_t chip;
    uint8_t kind;
} wiring_t;

static const wiring_t wirings[PROBES] PROGMEM = {
    {_BV(WATER_SELECT), WATER_CHIP, WATER_KIND},
    {_BV(FLAME_SELECT), FLAME_CHIP, FLAME_KIND},
};

static uint8_t exchange(uint8_t byte)
{
    SPDR = byte;
    while ((SPSR & _BV(SPIF)) == 0U) {
    }
    return SPDR;
}

/* Both converters take 4 MHz; the one samples at the clock's first edge, the other at its second. */
static void select(const wiring_t *wiring)
{
    SPCR = _BV(SPE) | _BV(MSTR) | (wiring->chip == 31856U ? _BV(CPHA) : 0U);
    PORTB &= (uint8_t)~wiring->select;
}

static void release(const wiring_t *wiring)
{
    PORTB |= wiring->select;
}

static void configure(const wiring_t *wiring)
{
    select(wiring);
    exchange(CONTROL | WRITE);
    exchange(AT_ONCE_AND_ON);
    exchange(wiring->kind);
    release(wiring);
}

static void read_flat(const wiring_t *wiring, probe_reading_t *reading)
{
    uint32_t bits = 0;
    select(wiring);
    for (uint8_t i = 0; i < 4U; i++) {
        bits = bits << 8 | exchange(0);
    }
    release(wiring);
    reading->code = (int16_t)(bits >> 16) >> 2;
    reading->cold_junction = (int16_t)bits >> 4;
    if (bits == 0UL || bits == 0xFFFFFFFFUL) {
        reading->faults = reading->cold_junction_faults = EW_FAULT_NO_ANSWER;
        return;
    }
    if ((bits & FLAT_FAULT) != 0UL) {
        uint8_t cause = (uint8_t)bits;
        reading->faults = (uint8_t)(((cause & FLAT_OPEN) != 0U ? EW_FAULT_OPEN : 0U) |
                                    ((cause & FLAT_SHORT_LOW) != 0U ? EW_FAULT_SHORT_LOW : 0U) |
                                    ((cause & FLAT_SHORT_HIGH) != 0U ? EW_FAULT_SHORT_HIGH : 0U));
    } else if (reading->code >= FLAT_MOST || reading->code <= -FLAT_MOST - 1) {
        reading->faults = EW_FAULT_SATURATED;
    }
}

static void read_linearised(const wiring_t *wiring, probe_reading_t *reading)
{
    uint8_t control[2];
    select(wiring);
    exchange(CONTROL);
    control[0] = exchange(0);
    control[1] = exchange(0);
    release(wiring);
    if (control[0] != AT_ONCE_AND_ON || control[1] != wiring->kind) {
        /* It is not there, or was without supply for a moment and has forgotten what to do. */
        configure(wiring);
        reading->faults = reading->cold_junction_faults = EW_FAULT_NO_ANSWER;
        return;
    }
    uint8_t bytes[6];
    select(wiring);
    exchange(COLD_JUNCTION);
    for (uint8_t i = 0; i < sizeof bytes; i++) {
        bytes[i] = exchange(0);
    }
    release(wiring);
    reading->cold_junction = (int16_t)((uint16_t)bytes[0] << 8 | bytes[1]) >> 2;
    uint32_t code = (uint32_t)bytes[2] << 24 | (uint32_t)bytes[3] << 16 | (uint32_t)bytes[4] << 8;
    reading->code = (int32_t)code >> 13;
    uint8_t status = bytes[5];
    reading->faults = (uint8_t)(((status & LEAD_OPEN) != 0U ? EW_FAULT_OPEN : 0U) |
                                ((status & (RANGE_THERMOCOUPLE | BEYOND_SUPPLY)) != 0U ? EW_FAULT_SATURATED : 0U));
    reading->cold_junction_faults = (status & RANGE_COLD_JUNCTION) != 0U ? EW_FAULT_COLD_JUNCTION : 0U;
}

static wiring_t wiring_of(uint8_t probe)
{
    wiring_t wiring;
    memcpy_P(&wiring, &wirings[probe], sizeof wiring);
    return wiring;
}

void probes_begin(void)
{
    PORTB |= _BV(WATER_SELECT) | _BV(FLAME_SELECT);
    DDRB |= _BV(WATER_SELECT) | _BV(FLAME_SELECT) | _BV(SPI_CLOCK) | _BV(SPI_OUT);
    PORTB |= _BV(SPI_IN); /* a pull-up: a converter that is not there reads as ones */
    for (uint8_t i = 0; i < PROBES; i++) {
        wiring_t wiring = wiring_of(i);
        if (wiring.chip == 31856U) {
            configure(&wiring);
        }
    }
}

uint16_t probe_chip(uint8_t probe)
{
    return pgm_read_word(&wirings[probe].chip);
}

void probe_read(uint8_t probe, probe_reading_t *reading)
{
    wiring_t wiring = wiring_of(probe);
    *reading = (probe_reading_t){0};
    if (wiring.chip == 31856U) {
        read_linearised(&wiring, reading);
    } else {
        read_flat(&wiring, reading);
    }
}
