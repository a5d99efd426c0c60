/* A barometer of the BME280 class on the two-wire bus, at address 0x76. */
#ifndef AIR_CHIP_H
#define AIR_CHIP_H

#include "core.h"

typedef struct {
    core_t *core;
    struct avr_irq_t *in;
    double air_c;
    double pressure_pa;
    bool selected;
    bool pointed; /* whether the transfer has named a register */
    uint8_t at;
    uint8_t registers[256];
} air_chip_t;

/* Solder it in. */
void air_chip_attach(air_chip_t *chip, core_t *core);

#endif
