#include "air_chip.h"

#include <string.h>

#include <simavr/avr_twi.h>

#define ADDRESS 0x76U
#define IDENTITY 0xD0U
#define TRIMMING 0x88U
#define MEASURE 0xF4U
#define READINGS 0xF7U
#define RAW_MOST 0xFFFFF

/* Trimming constants of the worked example in the data sheet of the BMP280, 3.12, which has the same two sensors. */
static const int32_t T[] = {27504, 26435, -1000};
static const int32_t P[] = {36477, -10685, 3024, 2855, 140, -7, 15500, -14600, 6000};

/* The maker's compensation in floating point (data sheet of the BME280, 8.1): fine temperature, then pressure. */
static double fine_of(double raw) {
    const double coarse = (raw / 16384.0 - T[0] / 1024.0) * T[1];
    const double off = raw / 131072.0 - T[0] / 8192.0;
    return coarse + off * off * T[2];
}

static double pressure_of(double raw, double fine) {
    const double half = fine / 2.0 - 64000.0;
    double offset = half * half * P[5] / 32768.0 + half * P[4] * 2.0;
    offset = offset / 4.0 + P[3] * 65536.0;
    double slope = (P[2] * half * half / 524288.0 + P[1] * half) / 524288.0;
    slope = (1.0 + slope / 32768.0) * P[0];
    const double pressure = (1048576.0 - raw - offset / 4096.0) * 6250.0 / slope;
    return pressure + (P[8] * pressure * pressure / 2147483648.0 + pressure * P[7] / 32768.0 + P[6]) / 16.0;
}

/* Temperature rises with its raw value, pressure falls: the raw value that comes nearest is found by halving. */
static int32_t raw_temperature(double air_c) {
    int32_t low = 0;
    for (int32_t step = (RAW_MOST + 1) / 2; step > 0; step /= 2) {
        low += fine_of(low + step) / 5120.0 <= air_c ? step : 0;
    }
    return low;
}

static int32_t raw_pressure(double pressure_pa, double fine) {
    int32_t low = 0;
    for (int32_t step = (RAW_MOST + 1) / 2; step > 0; step /= 2) {
        low += pressure_of(low + step, fine) >= pressure_pa ? step : 0;
    }
    return low;
}

static void put_raw(uint8_t *bytes, int32_t raw) {
    bytes[0] = (uint8_t)(raw >> 12);
    bytes[1] = (uint8_t)(raw >> 4);
    bytes[2] = (uint8_t)(raw << 4);
}

/* All readings are taken over at once as the first is read, so that they belong together. */
static void latch(air_chip_t *chip) {
    const bool measures = (chip->registers[MEASURE] & 3U) == 3U;
    const int32_t temperature = measures ? raw_temperature(chip->air_c) : 0x80000;
    const int32_t pressure = measures ? raw_pressure(chip->pressure_pa, fine_of(temperature)) : 0x80000;
    put_raw(&chip->registers[READINGS], pressure);
    put_raw(&chip->registers[READINGS + 3], temperature);
}

static void talked(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    air_chip_t *chip = param;
    const avr_twi_msg_irq_t message = {.u.v = value};
    if (message.u.twi.msg & TWI_COND_STOP) {
        chip->selected = false;
    }
    if (message.u.twi.msg & TWI_COND_START) {
        chip->selected = message.u.twi.addr >> 1 == ADDRESS;
        chip->pointed = false;
        if (chip->selected) {
            avr_raise_irq(chip->in, avr_twi_irq_msg(TWI_COND_ACK, message.u.twi.addr, 1));
        }
    }
    if (!chip->selected) {
        return;
    }
    if (message.u.twi.msg & TWI_COND_WRITE) {
        avr_raise_irq(chip->in, avr_twi_irq_msg(TWI_COND_ACK, message.u.twi.addr, 1));
        if (!chip->pointed) {
            chip->pointed = true;
            chip->at = message.u.twi.data;
        } else if (chip->at == MEASURE) {
            chip->registers[MEASURE] = message.u.twi.data;
        }
    }
    if (message.u.twi.msg & TWI_COND_READ) {
        if (chip->at == READINGS) {
            latch(chip);
        }
        avr_raise_irq(chip->in, avr_twi_irq_msg(TWI_COND_READ, message.u.twi.addr, chip->registers[chip->at]));
        chip->at++;
    }
}

void air_chip_attach(air_chip_t *chip, core_t *core) {
    avr_t *avr = core_avr(core);
    memset(chip, 0, sizeof *chip);
    chip->core = core;
    chip->air_c = 20.0;
    chip->pressure_pa = 101325.0;
    chip->registers[IDENTITY] = 0x60;
    for (int i = 0; i < 12; i++) {
        const int32_t word = i < 3 ? T[i] : P[i - 3];
        chip->registers[TRIMMING + 2 * i] = (uint8_t)word;
        chip->registers[TRIMMING + 2 * i + 1] = (uint8_t)((uint32_t)word >> 8);
    }
    chip->in = avr_io_getirq(avr, AVR_IOCTL_TWI_GETIRQ(0), TWI_IRQ_INPUT);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_TWI_GETIRQ(0), TWI_IRQ_OUTPUT), talked, chip);
}
