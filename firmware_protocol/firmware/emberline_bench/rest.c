#include "rest.h"

#include <avr/interrupt.h>
#include <avr/sleep.h>

void rest(void)
{
    set_sleep_mode(SLEEP_MODE_IDLE);
    cli();
    while ((GPIOR0 & 1U) == 0U) {
        sleep_enable();
        sei(); /* takes effect after the next instruction, so that no interrupt comes in between */
        sleep_cpu();
        sleep_disable();
        cli();
    }
    GPIOR0 &= (uint8_t)~1U;
    sei();
}
