#include "ticks.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/atomic.h>

#include "rest.h"

#define COUNTS_PER_US 2U /* 16 MHz over 8 */

/* It starts with whatever the memory holds. */
volatile uint32_t ticks_at_beat __attribute__((section(".noinit")));

ISR(TIMER1_COMPA_vect)
{
    ticks_at_beat += BEAT_US;
    REST_NEWS();
}

void ticks_begin(void)
{
    OCR1A = (uint16_t)(BEAT_US * COUNTS_PER_US - 1U);
    TCCR1A = 0;
    TCNT1 = 0;
    TIFR1 = _BV(OCF1A);
    TIMSK1 = _BV(OCIE1A);
    TCCR1B = _BV(WGM12) | _BV(CS11);
}

uint32_t ticks_now(void)
{
    uint32_t now;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        uint16_t count = TCNT1;
        now = ticks_at_beat;
        /* A beat that has come and not been counted yet: only if the count was read after it. */
        if ((TIFR1 & _BV(OCF1A)) != 0U && count < BEAT_US) {
            now += BEAT_US;
        }
        now += count / COUNTS_PER_US;
    }
    return now;
}
