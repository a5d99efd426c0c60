#include "bench.h"

#include <avr/interrupt.h>
#include <avr/wdt.h>

#include "boots.h"
#include "line.h"
#include "rest.h"
#include "streams.h"
#include "talk.h"
#include "ticks.h"

void bench_begin(void)
{
    ticks_begin();
    sei();
    boots_begin();
    line_begin();
    streams_begin();
    talk_begin();
    wdt_enable(WDTO_2S);
}

void bench_turn(void)
{
    wdt_reset();
    streams_turn();
    talk_turn();
    rest();
}
