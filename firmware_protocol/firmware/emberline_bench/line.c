#include "line.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <stddef.h>
#include <util/atomic.h>

#include "config.h"
#include "rest.h"

#define DIVISOR ((F_CPU / 4UL / BAUD + 1UL) / 2UL) /* at double speed, rounded */
_Static_assert((F_CPU / 8UL / DIVISOR) * 1000UL / BAUD >= 985UL && (F_CPU / 8UL / DIVISOR) * 1000UL / BAUD <= 1015UL,
               "the baud rate cannot be had within 1.5 %");

/* What comes in 11 ms at 57,600 baud: longer than the core is ever busy with one thing. A power of two. */
#define QUEUE_BYTES 64U

static volatile uint8_t queue[QUEUE_BYTES];
static volatile uint8_t put_at;
static uint8_t take_at;

static uint8_t frame[LINE_FRAME_BYTES];
static volatile uint16_t frame_left;
static const uint8_t *volatile next;

ISR(USART_RX_vect)
{
    uint8_t byte = UDR0;
    uint8_t after = (put_at + 1U) % QUEUE_BYTES;
    if (after != take_at) { /* else it is lost, and its frame's checksum will say so */
        queue[put_at] = byte;
        put_at = after;
    }
    if (byte == 0U) { /* perhaps a frame's end; the rest is taken out at each beat */
        REST_NEWS();
    }
}

ISR(USART_UDRE_vect)
{
    UDR0 = *next++;
    if (--frame_left == 0U) {
        UCSR0B &= (uint8_t)~_BV(UDRIE0);
        REST_NEWS();
    }
}

void line_begin(void)
{
    UCSR0A = _BV(U2X0);
    UBRR0 = (uint16_t)(DIVISOR - 1UL);
    UCSR0C = _BV(UCSZ01) | _BV(UCSZ00); /* 8 data bits, no parity, 1 stop bit */
    UCSR0B = _BV(RXCIE0) | _BV(RXEN0) | _BV(TXEN0);
}

bool line_take(uint8_t *byte)
{
    if (take_at == put_at) {
        return false;
    }
    *byte = queue[take_at];
    take_at = (take_at + 1U) % QUEUE_BYTES;
    return true;
}

uint8_t *line_free(void)
{
    uint16_t left;
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        left = frame_left;
    }
    return left == 0U ? frame : NULL;
}

void line_send(uint16_t length)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        next = frame;
        frame_left = length;
        UCSR0B |= _BV(UDRIE0);
    }
}
