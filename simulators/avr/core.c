#include "core.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/random.h>

#include <simavr/avr_eeprom.h>
#include <simavr/sim_elf.h>

#define EEPROM_BYTES 1024U
#define REASON_OF_RESET 0x54U /* MCUSR */
#define POWER_ON 1U
#define BROWN_OUT 4U
#define PAINT 0xC5U
#define CYCLES_AT_ONCE 64U /* between two looks at timers: an interrupt may come 4 us late */
#define UNUSED_FLASH 0x7F00U
#define RAM_OFFSET 0x800000U

struct core {
    avr_t *avr;
    elf_firmware_t firmware;
    const char *eeprom;
    uint64_t cycles_before; /* those of all boots but the present one */
    uint64_t seen;          /* cycles of the present boot when last looked at */
    uint16_t free_from;     /* end of the firmware's variables */
};

void fail(const char *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    fputs("emulated bench: ", stderr);
    vfprintf(stderr, format, arguments);
    fputc('\n', stderr);
    va_end(arguments);
    exit(2);
}

static void say(avr_t *avr, const int level, const char *format, va_list arguments) {
    (void)avr;
    if (level <= LOG_ERROR) {
        vfprintf(stderr, format, arguments);
    }
}

/* The caller keeps the pace; a sleeping core only moves its clock on. */
static void sleep_no_real_time(avr_t *avr, avr_cycle_count_t cycles) {
    (void)avr;
    (void)cycles;
}

static avr_cycle_count_t stop_here(avr_t *avr, avr_cycle_count_t when, void *param) {
    (void)avr;
    (void)when;
    (void)param;
    return 0;
}

static uint32_t address_of(const core_t *core, const char *name) {
    const size_t length = strlen(name);
    for (unsigned i = 0; i < core->firmware.symbolcount; i++) {
        const avr_symbol_t *symbol = core->firmware.symbol[i];
        /* A compiler that looks at the whole program may add a dot and more to a name. */
        if (!strncmp(symbol->symbol, name, length) && (symbol->symbol[length] == 0 || symbol->symbol[length] == '.')) {
            return symbol->addr;
        }
    }
    fail("this firmware has nothing called %s", name);
}

uint8_t *core_variable(core_t *core, const char *name) {
    return core->avr->data + (address_of(core, name) - RAM_OFFSET);
}

static void load_eeprom(core_t *core) {
    uint8_t bytes[EEPROM_BYTES];
    memset(bytes, 0xFF, sizeof bytes);
    FILE *file = core->eeprom ? fopen(core->eeprom, "rb") : NULL;
    if (file) {
        if (fread(bytes, 1, sizeof bytes, file) != sizeof bytes) {
            fail("%s is no EEPROM of %u bytes", core->eeprom, EEPROM_BYTES);
        }
        fclose(file);
    } else if (!core->eeprom) {
        /* A board that was used before: a number and its complement in the first slot. */
        uint32_t slot[2];
        if (getrandom(slot, sizeof slot[0], 0) != sizeof slot[0]) {
            fail("no random numbers to be had");
        }
        slot[1] = ~slot[0];
        memcpy(bytes, slot, sizeof slot);
    }
    avr_eeprom_desc_t all = {.ee = bytes, .offset = 0, .size = sizeof bytes};
    avr_ioctl(core->avr, AVR_IOCTL_EEPROM_SET, &all);
}

void core_keep_eeprom(const core_t *core) {
    if (!core->eeprom) {
        return;
    }
    avr_eeprom_desc_t all = {.ee = NULL, .offset = 0, .size = EEPROM_BYTES};
    avr_ioctl(core->avr, AVR_IOCTL_EEPROM_GET, &all);
    FILE *file = fopen(core->eeprom, "wb");
    if (!file || fwrite(all.ee, 1, EEPROM_BYTES, file) != EEPROM_BYTES || fclose(file)) {
        fail("cannot write %s", core->eeprom);
    }
}

core_t *core_make(const char *firmware, const char *eeprom, uint32_t ticks) {
    core_t *core = calloc(1, sizeof *core);
    avr_global_logger_set(say);
    if (!core || elf_read_firmware(firmware, &core->firmware) != 0) {
        fail("%s cannot be read", firmware);
    }
    core->eeprom = eeprom;
    core->avr = avr_make_mcu_by_name("atmega328p");
    if (!core->avr) {
        fail("this emulator has no ATmega328P");
    }
    avr_init(core->avr);
    core->avr->frequency = CORE_HZ;
    core->avr->sleep = sleep_no_real_time;
    core->avr->log = LOG_ERROR;
    core->avr->run_cycle_limit = CYCLES_AT_ONCE;
    avr_load_firmware(core->avr, &core->firmware);
    load_eeprom(core);
    core->free_from = (uint16_t)(core_variable(core, "_end") - core->avr->data);
    memset(core->avr->data + core->free_from, PAINT, core->avr->ramend + 1U - core->free_from);
    memcpy(core_variable(core, "ticks_at_beat"), &ticks, sizeof ticks);
    core->avr->data[REASON_OF_RESET] = POWER_ON;
    return core;
}

avr_t *core_avr(core_t *core) { return core->avr; }

uint64_t core_now_us(const core_t *core) { return (core->cycles_before + core->avr->cycle) / CORE_CYCLES_PER_US; }

bool core_run(core_t *core, uint64_t until_us) {
    avr_t *avr = core->avr;
    const uint64_t until = until_us * CORE_CYCLES_PER_US;
    if (until <= core->cycles_before + avr->cycle) {
        return true;
    }
    avr_cycle_timer_register(avr, until - core->cycles_before - avr->cycle, stop_here, NULL);
    while (core->cycles_before + avr->cycle < until) {
        core->seen = avr->cycle;
        const int state = avr_run(avr);
        if (state == cpu_Done || state == cpu_Crashed) {
            fail("the firmware has crashed at %.6f s, program counter %04x", core_now_us(core) * 1e-6, avr->pc);
        }
        if (avr->cycle < core->seen) {
            core->cycles_before += core->seen;
            return false;
        }
    }
    return true;
}

void core_brown_out(core_t *core) {
    core->cycles_before += core->avr->cycle;
    core->avr->cycle = 0;
    avr_reset(core->avr);
    core->avr->cycle = 0;
    core->avr->data[REASON_OF_RESET] = BROWN_OUT;
}

unsigned core_untouched(const core_t *core) {
    unsigned count = 0;
    while (core->free_from + count <= core->avr->ramend && core->avr->data[core->free_from + count] == PAINT) {
        count++;
    }
    return count;
}

void core_hang(core_t *core) {
    /* An instruction that jumps to itself, where no program is. */
    core->avr->flash[UNUSED_FLASH] = 0xFF;
    core->avr->flash[UNUSED_FLASH + 1] = 0xCF;
    core->avr->pc = UNUSED_FLASH;
    core->avr->sreg[S_I] = 0;
    core->avr->state = cpu_Running;
}
