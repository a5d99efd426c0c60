/* The thermocouple converters, of the MAX31855 and MAX31856 class, on the SPI bus. */
#ifndef PROBES_H
#define PROBES_H

#include <stdint.h>

#define PROBES 2U /* 0 in the water, 1 in the flame */

typedef struct {
    int32_t code;
    int16_t cold_junction;
    uint8_t faults;
    uint8_t cold_junction_faults;
} probe_reading_t;

void probes_begin(void);

/* Return the chip of a probe: 31855, 31856, or 0 for none. */
uint16_t probe_chip(uint8_t probe);

/* Read what a probe's converter holds now. */
void probe_read(uint8_t probe, probe_reading_t *reading);

#endif
