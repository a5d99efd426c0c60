/* The emulated microcontroller with the firmware in it, on a clock that goes on through resets. */
#ifndef CORE_H
#define CORE_H

#include <stdbool.h>
#include <stdint.h>

#include <simavr/sim_avr.h>

#define CORE_HZ 16000000ULL
#define CORE_CYCLES_PER_US 16ULL

typedef struct core core_t;

/* Load a firmware and switch the board on; ends the program with a message if that cannot be done. `eeprom` is a file that
   keeps the EEPROM from run to run, or NULL: then it begins with a boot number drawn by chance. `ticks` is what the
   counter of microseconds starts with. */
core_t *core_make(const char *firmware, const char *eeprom, uint32_t ticks);

avr_t *core_avr(core_t *core);

/* Return the time since the board was switched on, in microseconds. */
uint64_t core_now_us(const core_t *core);

/* Run until a time. Returns false if the core has started anew meanwhile, by its watchdog; the caller attends to that, and
   goes on. */
bool core_run(core_t *core, uint64_t until_us);

/* Start anew as after a drop of the supply. */
void core_brown_out(core_t *core);

/* Have the firmware run into a loop without end, its interrupts off. */
void core_hang(core_t *core);

/* Return where a variable of the firmware lies in the emulated memory; ends the program if there is none. */
uint8_t *core_variable(core_t *core, const char *name);

/* Return how many bytes between the variables and the stack were never touched. */
unsigned core_untouched(const core_t *core);

/* Write the EEPROM to its file, if it has one. */
void core_keep_eeprom(const core_t *core);

/* End the program with a message. */
_Noreturn void fail(const char *format, ...) __attribute__((format(printf, 1, 2)));

#endif
