/* The load cell's bridge converter, of the HX711 class: 10 or 80 conversions a second, two wires and a rate pin. */
#ifndef BRIDGE_H
#define BRIDGE_H

#include <stdbool.h>
#include <stdint.h>

#define BRIDGE_SLOW_US 100000UL
#define BRIDGE_FAST_US 50000UL /* four of 80 conversions a second averaged */

/* What one reading is: when, in microseconds; the code; fault bits. */
typedef struct {
    uint32_t ticks;
    int32_t code;
    uint8_t faults;
} bridge_reading_t;

void bridge_begin(void);

/* Come as near to a period as can be, and return how near. */
uint32_t bridge_set_period(uint32_t period_us);

/* Read the conversion that waits, if one does. Returns whether `reading` holds a reading now: not each conversion makes one. A converter
   that is silent for a second makes one with the fault bit of no answer. */
bool bridge_read(bridge_reading_t *reading);

#endif
