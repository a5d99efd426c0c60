#include "bridge.h"

#include <avr/interrupt.h>
#include <util/atomic.h>
#include <util/delay.h>

#include "ew_messages.h"
#include "pins.h"
#include "rest.h"
#include "ticks.h"

#define BITS 24U
#define LEAST (-8388608L)
#define MOST 8388607L
#define AVERAGED 4U
#define SETTLING 4U /* conversions after a change of rate that are not of the load alone */
#define SILENT_US 1000000UL

static volatile bool waits;
static volatile uint32_t fell_at;

static bool fast;
static uint16_t every = 1;   /* of so many conversions one is kept, where it is slow */
static uint8_t settling;    /* conversions still to be passed over */
static uint16_t counted;    /* conversions of the reading that is being made */
static int32_t sum;
static bool sum_ends;
static uint32_t first_at;
static uint32_t heard_at;

/* The converter pulls its data line low when a conversion is done. */
ISR(PCINT2_vect)
{
    if ((PIND & _BV(BRIDGE_DATA)) == 0U && !waits) {
        fell_at = ticks_now();
        waits = true;
        REST_NEWS();
    }
}

static void listen(void)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        waits = false;
        PCIFR = _BV(PCIF2);
        PCMSK2 |= _BV(BRIDGE_PCINT);
    }
}

/* The same, where a conversion may have been done before anybody listened. */
static void look(void)
{
    listen();
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        if ((PIND & _BV(BRIDGE_DATA)) == 0U && !waits) {
            fell_at = ticks_now();
            waits = true;
        }
    }
}

void bridge_begin(void)
{
    DDRD |= _BV(BRIDGE_CLOCK) | _BV(BRIDGE_RATE);
    PORTD &= (uint8_t)~(_BV(BRIDGE_CLOCK) | _BV(BRIDGE_RATE));
    PORTD |= _BV(BRIDGE_DATA); /* a pull-up: a converter that is not there never seems ready */
    PCICR |= _BV(PCIE2);
    heard_at = ticks_now();
    look();
}

uint32_t bridge_set_period(uint32_t period_us)
{
    bool was_fast = fast;
    fast = period_us < (BRIDGE_FAST_US + BRIDGE_SLOW_US) / 2U;
    uint32_t wanted = (period_us + BRIDGE_SLOW_US / 2U) / BRIDGE_SLOW_US;
    every = wanted == 0U ? 1U : (uint16_t)wanted;
    counted = 0;
    if (fast != was_fast) {
        settling = SETTLING;
        if (fast) {
            PORTD |= _BV(BRIDGE_RATE);
        } else {
            PORTD &= (uint8_t)~_BV(BRIDGE_RATE);
        }
    }
    return fast ? BRIDGE_FAST_US : every * BRIDGE_SLOW_US;
}

/* Its clock must not stay high for 60 us, or the converter powers down: no interrupt may come within a pulse. Between two
   pulses any may. */
static void pulse(void)
{
    ATOMIC_BLOCK(ATOMIC_FORCEON)
    {
        PORTD |= _BV(BRIDGE_CLOCK);
        _delay_us(0.5);
        PORTD &= (uint8_t)~_BV(BRIDGE_CLOCK);
    }
    _delay_us(0.5);
}

/* Take a conversion's bits; false where it was none: after the last pulse the line is high until the next is done. */
static bool clock_out(int32_t *code)
{
    PCMSK2 &= (uint8_t)~_BV(BRIDGE_PCINT); /* the bits are no news */
    uint32_t bits = 0;
    for (uint8_t i = 0; i < BITS; i++) {
        pulse();
        bits = bits << 1 | ((PIND & _BV(BRIDGE_DATA)) != 0U ? 1U : 0U);
    }
    pulse(); /* the 25th: channel A at gain 128 next time */
    *code = (int32_t)(bits << 8) >> 8;
    return (PIND & _BV(BRIDGE_DATA)) != 0U;
}

bool bridge_read(bridge_reading_t *reading)
{
    uint32_t now = ticks_now();
    if (!waits) {
        if (now - heard_at < SILENT_US) {
            return false;
        }
        heard_at = now;
        counted = 0;
        look();
        *reading = (bridge_reading_t){now, 0, EW_FAULT_NO_ANSWER};
        return true;
    }
    uint32_t at = fell_at; /* no interrupt changes it while one waits */
    int32_t code;
    bool good = clock_out(&code);
    listen();
    if (!good) {
        return false;
    }
    heard_at = now;
    if (settling > 0U) {
        settling--;
        return false;
    }
    bool ends = code <= LEAST || code >= MOST;
    if (!fast) {
        counted++;
        if (counted < every) {
            return false;
        }
        counted = 0;
        *reading = (bridge_reading_t){at, code, ends ? EW_FAULT_SATURATED : 0U};
        return true;
    }
    if (counted == 0U) {
        sum = 0;
        sum_ends = false;
        first_at = at;
    }
    sum += code;
    sum_ends = sum_ends || ends;
    counted++;
    if (counted < AVERAGED) {
        return false;
    }
    counted = 0;
    *reading = (bridge_reading_t){first_at + (at - first_at) / 2U, sum / (int32_t)AVERAGED,
                                  sum_ends ? EW_FAULT_SATURATED : 0U};
    return true;
}
