/* Thermocouple converters of the MAX31855 and MAX31856 class on the SPI bus, with the pins that the firmware uses. */
#ifndef PROBE_CHIP_H
#define PROBE_CHIP_H

#include "core.h"

typedef struct {
    core_t *core;
    int kind; /* 31855 or 31856 */
    bool selected;
    double tip_c;
    double junction_c;
    unsigned tip_faults; /* bits as the protocol numbers them: 1 open, 2 shorted low, 4 shorted high */
    uint8_t registers[16];
    uint8_t reply[4];
    int bytes;
    uint8_t address;
    unsigned readings;
} probe_chip_t;

typedef struct {
    core_t *core;
    struct avr_irq_t *in;
    probe_chip_t probe[2]; /* in the water, in the flame */
} probe_bus_t;

/* Solder both in. */
void probe_bus_attach(probe_bus_t *bus, core_t *core, int water_kind, int flame_kind);

#endif
