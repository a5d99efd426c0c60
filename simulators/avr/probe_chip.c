#include "probe_chip.h"

#include <math.h>
#include <string.h>

#include <simavr/avr_ioport.h>
#include <simavr/avr_spi.h>

#include "thermocouple.h"

#define WATER_SELECT 2
#define FLAME_SELECT 1
#define SPI_CONTROL 0x4CU /* SPCR */
#define SECOND_EDGE 4U    /* CPHA */
#define SENSITIVITY_MV_K 0.041276
#define OPEN 1U
#define SHORT_LOW 2U
#define SHORT_HIGH 4U

/* A register of a 31856. */
#define CONTROL_0 0U
#define CONTROL_1 1U
#define COLD_JUNCTION 10U
#define THERMOCOUPLE 12U
#define STATUS 15U
#define CONVERTS 0x80U
#define TYPE_K 3U

static int32_t between(double code, int32_t least, int32_t most) {
    return code < least ? least : code > most ? most : (int32_t)lrint(code);
}

/* What a 31855 gives: one slope for the whole curve, and the cold junction added in degrees. */
static void latch_flat(probe_chip_t *chip) {
    const double mv = thermocouple_mv(chip->tip_c) - thermocouple_mv(chip->junction_c);
    const bool broken = chip->tip_faults != 0;
    const int32_t tip = broken ? 0 : between(4.0 * (chip->junction_c + mv / SENSITIVITY_MV_K), -8192, 8191);
    const int32_t junction = between(16.0 * chip->junction_c, -2048, 2047);
    uint32_t bits = ((uint32_t)tip & 0x3FFFU) << 18 | ((uint32_t)junction & 0xFFFU) << 4;
    if (broken) {
        bits |= 0x10000U | (chip->tip_faults & OPEN ? 1U : 0U) | (chip->tip_faults & SHORT_LOW ? 2U : 0U) |
                (chip->tip_faults & SHORT_HIGH ? 4U : 0U);
    }
    for (int i = 0; i < 4; i++) {
        chip->reply[i] = (uint8_t)(bits >> (24 - 8 * i));
    }
}

static void latch_linearised(probe_chip_t *chip) {
    uint8_t *const registers = chip->registers;
    if (!(registers[CONTROL_0] & CONVERTS) || (registers[CONTROL_1] & 0x0FU) != TYPE_K) {
        return;
    }
    const int32_t tip = between(128.0 * chip->tip_c, -262144, 262143);
    const int32_t junction = between(64.0 * chip->junction_c, -8192, 8191);
    registers[COLD_JUNCTION] = (uint8_t)((uint32_t)junction << 2 >> 8);
    registers[COLD_JUNCTION + 1] = (uint8_t)((uint32_t)junction << 2);
    registers[THERMOCOUPLE] = (uint8_t)((uint32_t)tip << 5 >> 16);
    registers[THERMOCOUPLE + 1] = (uint8_t)((uint32_t)tip << 5 >> 8);
    registers[THERMOCOUPLE + 2] = (uint8_t)((uint32_t)tip << 5);
    registers[STATUS] = chip->tip_faults & OPEN ? 1U : chip->tip_faults ? 2U : 0U;
}

static void selected(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    probe_chip_t *chip = param;
    const bool was = chip->selected;
    chip->selected = value == 0;
    if (chip->selected && !was) {
        chip->bytes = 0;
        if (chip->kind == 31855) {
            latch_flat(chip);
        } else {
            latch_linearised(chip);
        }
    } else if (was && !chip->selected) {
        chip->readings += chip->kind == 31855 ? chip->bytes == 4 : chip->bytes == 7;
    }
}

static uint8_t answer_of(probe_chip_t *chip, uint8_t byte) {
    const int at = chip->bytes++;
    const bool second_edge = (core_avr(chip->core)->data[SPI_CONTROL] & SECOND_EDGE) != 0;
    if (second_edge != (chip->kind == 31856)) {
        return 0x55; /* clocked at the wrong edge: nonsense */
    }
    if (chip->kind == 31855) {
        return at < 4 ? chip->reply[at] : 0;
    }
    if (at == 0) {
        chip->address = byte;
        return 0;
    }
    const uint8_t which = (uint8_t)((chip->address & 0x7FU) + at - 1) % sizeof chip->registers;
    if (chip->address & 0x80U) {
        if (which <= 9U) {
            chip->registers[which] = byte;
        }
        return 0;
    }
    return chip->registers[which];
}

static void exchanged(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    probe_bus_t *bus = param;
    uint8_t answer = 0xFF; /* nobody pulls the line down */
    for (int i = 0; i < 2; i++) {
        if (bus->probe[i].selected) {
            answer = answer_of(&bus->probe[i], (uint8_t)value);
        }
    }
    avr_raise_irq(bus->in, answer);
}

void probe_bus_attach(probe_bus_t *bus, core_t *core, int water_kind, int flame_kind) {
    static const int pins[2] = {WATER_SELECT, FLAME_SELECT};
    const int kinds[2] = {water_kind, flame_kind};
    avr_t *avr = core_avr(core);
    bus->core = core;
    bus->in = avr_io_getirq(avr, AVR_IOCTL_SPI_GETIRQ(0), SPI_IRQ_INPUT);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_SPI_GETIRQ(0), SPI_IRQ_OUTPUT), exchanged, bus);
    for (int i = 0; i < 2; i++) {
        probe_chip_t *chip = &bus->probe[i];
        memset(chip, 0, sizeof *chip);
        chip->core = core;
        chip->kind = kinds[i];
        chip->tip_c = chip->junction_c = 20.0;
        if (chip->kind) {
            avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('B'), pins[i]), selected, chip);
        }
    }
}
