/* Where the parts are wired; names in brackets are those printed on boards with an ATmega328P. */
#ifndef PINS_H
#define PINS_H

#include <avr/io.h>

/* Bridge converter, all on port D: data [2], clock [3], rate [4]. */
#define BRIDGE_DATA PD2
#define BRIDGE_CLOCK PD3
#define BRIDGE_RATE PD4
#define BRIDGE_PCINT PCINT18

/* Thermocouple converters, all on port B: clock [13], from them [12], to them [11], select [10] and [9]. */
#define SPI_CLOCK PB5
#define SPI_IN PB4
#define SPI_OUT PB3
#define WATER_SELECT PB2
#define FLAME_SELECT PB1

#endif
