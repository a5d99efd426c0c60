#include "air.h"

#include "config.h"

#if WITH_AIR

#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdbool.h>

#include "ew_messages.h"

#define ADDRESS 0x76U
#define IDENTITY 0xD0U
#define IDENTITY_WITH_HUMIDITY 0x60U
#define IDENTITY_WITHOUT 0x58U
#define TRIMMING 0x88U
#define TRIMMING_WORDS 12U
#define MEASURE 0xF4U
#define WITHOUT_END 0x57U /* temperature twice, pressure sixteen times, again and again */
#define READINGS 0xF7U
#define READING_BYTES 6U
#define UNMEASURED 0x80000L

/* A byte takes 90 us at 100 kHz; a bus that is stuck must not stop the bench. */
#define MOST_POLLS 2000U
#define BIT_RATE ((F_CPU / 100000UL - 16UL) / 2UL)

/* The converter's trimming constants in the order of its registers: T1 to T3, P1 to P9; all but T1 and P1 have signs. */
static uint16_t trimming[TRIMMING_WORDS];
static bool ready;
static volatile bool done;

static int32_t trim(uint8_t i)
{
    return i == 0U || i == 3U ? (int32_t)trimming[i] : (int32_t)(int16_t)trimming[i];
}

ISR(TWI_vect)
{
    TWCR = _BV(TWEN); /* no more of this interrupt; what it was for stays */
    done = true;
}

static bool act(uint8_t control)
{
    done = false;
    TWCR = (uint8_t)(_BV(TWINT) | _BV(TWEN) | _BV(TWIE) | control);
    for (uint16_t polls = 0; polls < MOST_POLLS; polls++) {
        if (done) {
            return true;
        }
    }
    TWCR = 0;
    return false;
}

/* Send a byte, and return whether it was acknowledged: an address to write to, one to read from, or data. */
static bool send(uint8_t byte)
{
    TWDR = byte;
    if (!act(0)) {
        return false;
    }
    uint8_t state = TWSR & 0xF8U;
    return state == 0x18U || state == 0x40U || state == 0x28U;
}

static void stop(void)
{
    TWCR = _BV(TWINT) | _BV(TWEN) | _BV(TWSTO);
}

static bool begin_at(uint8_t reg)
{
    return act(_BV(TWSTA)) && send(ADDRESS << 1) && send(reg);
}

static bool read_from(uint8_t reg, uint8_t *bytes, uint8_t count)
{
    bool good = begin_at(reg) && act(_BV(TWSTA)) && send(ADDRESS << 1 | 1U);
    for (uint8_t i = 0; good && i < count; i++) {
        good = act(i + 1U < count ? _BV(TWEA) : 0U);
        bytes[i] = TWDR;
    }
    stop();
    return good;
}

static bool write_to(uint8_t reg, uint8_t byte)
{
    bool good = begin_at(reg) && send(byte);
    stop();
    return good;
}

void air_begin(void)
{
    uint8_t identity = 0;
    TWSR = 0;
    TWBR = (uint8_t)BIT_RATE;
    ready = read_from(IDENTITY, &identity, 1U) &&
            (identity == IDENTITY_WITH_HUMIDITY || identity == IDENTITY_WITHOUT) &&
            read_from(TRIMMING, (uint8_t *)trimming, sizeof trimming) && write_to(MEASURE, WITHOUT_END);
}

/* The maker's compensation in 32-bit integers, from the data sheet of the BME280, 8.2. */
static int32_t fine_temperature(int32_t raw)
{
    int32_t first = ((raw >> 3) - (trim(0) << 1)) * trim(1) >> 11;
    int32_t off = (raw >> 4) - trim(0);
    return first + ((off * off >> 12) * trim(2) >> 14);
}

static int32_t pressure_pa(int32_t raw, int32_t fine)
{
    int32_t half = (fine >> 1) - 64000L;
    int32_t square = (half >> 2) * (half >> 2);
    int32_t offset = (square >> 11) * trim(8) + ((half * trim(7)) << 1);
    offset = (offset >> 2) + (trim(6) << 16);
    int32_t slope = ((trim(5) * (square >> 13)) >> 3) + (trim(4) * half >> 1);
    slope = (32768L + (slope >> 18)) * trim(3) >> 15;
    if (slope == 0L) {
        return 0L;
    }
    uint32_t pressure = ((uint32_t)(1048576L - raw) - (uint32_t)(offset >> 12)) * 3125UL;
    pressure = pressure < 0x80000000UL ? (pressure << 1) / (uint32_t)slope : pressure / (uint32_t)slope * 2UL;
    int32_t low = trim(11) * (int32_t)((pressure >> 3) * (pressure >> 3) >> 13) >> 12;
    int32_t high = (int32_t)(pressure >> 2) * trim(10) >> 13;
    return (int32_t)pressure + ((low + high + trim(9)) >> 4);
}

void air_read(air_reading_t *reading)
{
    uint8_t bytes[READING_BYTES];
    *reading = (air_reading_t){.faults = EW_FAULT_NO_ANSWER};
    if (!ready) {
        air_begin(); /* it may have come late */
    }
    if (!ready || !read_from(READINGS, bytes, sizeof bytes)) {
        ready = false;
        return;
    }
    int32_t pressure = (int32_t)((uint32_t)bytes[0] << 12 | (uint32_t)bytes[1] << 4 | bytes[2] >> 4);
    int32_t temperature = (int32_t)((uint32_t)bytes[3] << 12 | (uint32_t)bytes[4] << 4 | bytes[5] >> 4);
    if (pressure == UNMEASURED || temperature == UNMEASURED) {
        return; /* it has only just been told to measure */
    }
    int32_t fine = fine_temperature(temperature);
    reading->centidegrees = (int16_t)((fine * 5L + 128L) >> 8);
    reading->pressure_pa = pressure_pa(pressure, fine);
    reading->faults = 0;
}

#endif
