#include "bridge_chip.h"

#include <simavr/avr_extint.h>
#include <simavr/avr_ioport.h>

#define DATA 2
#define CLOCK 3
#define RATE 4
#define BITS 24
#define PULSES 25
#define DOWN_AFTER_US 60U

static void drive(bridge_chip_t *chip, bool high) {
    chip->data_high = high && !chip->shorted;
    avr_raise_irq(chip->data, chip->data_high);
}

static void clocked(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    bridge_chip_t *chip = param;
    const uint64_t now = core_avr(chip->core)->cycle;
    const bool high = value != 0;
    if (high == chip->clock_high) {
        return;
    }
    chip->clock_high = high;
    if (!high) {
        const uint64_t pulse = now - chip->clock_rose;
        chip->longest = pulse > chip->longest ? pulse : chip->longest;
        /* The emulator has just let the pull-up win, as it does at every write to the port. */
        drive(chip, chip->data_high);
        chip->powered_down += pulse >= DOWN_AFTER_US * CORE_CYCLES_PER_US;
        return;
    }
    chip->clock_rose = now;
    if (!chip->done) {
        return;
    }
    chip->bits_out++;
    if (chip->bits_out <= BITS) {
        drive(chip, chip->shifting >> (BITS - chip->bits_out) & 1U);
    } else if (chip->bits_out == PULSES) {
        chip->done = false;
        chip->readings++;
        drive(chip, true);
    }
}

static void rated(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    ((bridge_chip_t *)param)->fast = value != 0;
}

void bridge_chip_wake(bridge_chip_t *chip) {
    /* Data and clock are also the pins of external interrupts, which the firmware does not use: the emulator would look at
       them in each cycle in which they are low. */
    avr_extint_set_strict_lvl_trig(core_avr(chip->core), 0, 0);
    avr_extint_set_strict_lvl_trig(core_avr(chip->core), 1, 0);
    /* What it takes for no news it does not put on the pin, which it has forgotten. */
    drive(chip, chip->done);
    drive(chip, !chip->done);
}

void bridge_chip_short(bridge_chip_t *chip) {
    chip->shorted = true;
    drive(chip, false);
}

void bridge_chip_attach(bridge_chip_t *chip, core_t *core) {
    avr_t *avr = core_avr(core);
    chip->core = core;
    chip->data = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), DATA);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), CLOCK), clocked, chip);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), RATE), rated, chip);
    bridge_chip_wake(chip);
}

void bridge_chip_convert(bridge_chip_t *chip) {
    chip->conversions++;
    if (chip->done && chip->bits_out > 0) {
        return; /* it is being read; this conversion is lost */
    }
    chip->shifting = (uint32_t)chip->code & 0xFFFFFFU;
    chip->bits_out = 0;
    drive(chip, true);
    chip->done = true;
    drive(chip, false);
}
