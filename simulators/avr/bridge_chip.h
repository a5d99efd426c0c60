/* A bridge converter of the HX711 class, bit by bit, on the pins that the firmware uses. */
#ifndef BRIDGE_CHIP_H
#define BRIDGE_CHIP_H

#include "core.h"

typedef struct {
    core_t *core;
    struct avr_irq_t *data;
    int32_t code;      /* of the load as it is now */
    uint32_t shifting; /* bits that go out */
    int bits_out;      /* pulses since the conversion; 25 make a whole reading */
    bool done;         /* a conversion waits */
    bool clock_high;
    bool data_high;
    bool fast;
    bool shorted; /* its data line to ground */
    uint64_t clock_rose; /* cycle */
    uint64_t longest;    /* pulse, cycles */
    unsigned powered_down;
    unsigned conversions;
    unsigned readings; /* read whole */
} bridge_chip_t;

/* Solder it in. */
void bridge_chip_attach(bridge_chip_t *chip, core_t *core);

/* Drive its pins again after a reset of the core. */
void bridge_chip_wake(bridge_chip_t *chip);

/* Have its data line touch ground from now on. */
void bridge_chip_short(bridge_chip_t *chip);

/* Have a conversion be done now. */
void bridge_chip_convert(bridge_chip_t *chip);

#endif
