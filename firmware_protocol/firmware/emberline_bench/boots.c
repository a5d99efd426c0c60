#include "boots.h"

#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/wdt.h>
#include <util/atomic.h>

#include "ticks.h"

/* Each slot holds a number and its complement. The oldest is overwritten, so that a supply which fails meanwhile spoils
   no number that was used, and each cell is written once in eight boots. */
#define SLOTS 8U
#define DRAWS 32U

typedef struct {
    uint32_t number;
    uint32_t complement;
} slot_t;

uint32_t boot_id;

static slot_t EEMEM slots[SLOTS];
static uint8_t reset_cause __attribute__((section(".noinit")));
static volatile uint8_t draws;
static volatile uint32_t drawn;

/* After a reset by the watchdog it goes on running, at its shortest time, until it is told not to. */
void boots_first(void) __attribute__((naked, used, section(".init3")));
void boots_first(void)
{
    reset_cause = MCUSR;
    MCUSR = 0;
    wdt_disable();
}

bool boots_after_brown_out(void)
{
    return (reset_cause & _BV(BORF)) != 0U && (reset_cause & _BV(PORF)) == 0U;
}

/* The watchdog has an oscillator of its own: where the crystal's count stands at each of its beats is chance. */
ISR(WDT_vect)
{
    drawn = (drawn << 1 | drawn >> 31) ^ (uint32_t)(TCNT1 & 1U) ^ (uint32_t)TCNT1 << 13;
    draws++;
    WDTCSR |= _BV(WDIE); /* it stays set; an emulated core has forgotten it */
}

static uint32_t draw(void)
{
    ATOMIC_BLOCK(ATOMIC_RESTORESTATE)
    {
        wdt_reset();
        WDTCSR = _BV(WDCE) | _BV(WDE);
        WDTCSR = _BV(WDIE); /* an interrupt each 16 ms, no reset */
    }
    sei();
    while (draws < DRAWS) {
    }
    wdt_disable();
    return drawn;
}

void boots_begin(void)
{
    uint8_t newest = SLOTS - 1U;
    bool found = false;
    for (uint8_t i = 0; i < SLOTS; i++) {
        slot_t slot;
        eeprom_read_block(&slot, &slots[i], sizeof slot);
        /* Numbers may wrap: the newest is the one ahead. */
        if (slot.number == ~slot.complement && (!found || (int32_t)(slot.number - boot_id) > 0)) {
            boot_id = slot.number;
            newest = i;
            found = true;
        }
    }
    boot_id = found ? boot_id + 1U : draw();
    slot_t next = {boot_id, ~boot_id};
    eeprom_update_block(&next, &slots[(newest + 1U) % SLOTS], sizeof next);
}
