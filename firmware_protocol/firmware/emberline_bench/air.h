/* The barometer, of the BME280 class, on the two-wire bus. */
#ifndef AIR_H
#define AIR_H

#include <stdint.h>

typedef struct {
    int32_t pressure_pa;
    int16_t centidegrees;
    uint8_t faults;
} air_reading_t;

void air_begin(void);

/* Read pressure and temperature; the fault bit of no answer is set where it does not answer. */
void air_read(air_reading_t *reading);

#endif
