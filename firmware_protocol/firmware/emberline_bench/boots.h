/* The boot id, which no earlier boot of this board had, and why it started. */
#ifndef BOOTS_H
#define BOOTS_H

#include <stdbool.h>
#include <stdint.h>

extern uint32_t boot_id;

/* Find the boot id and keep it in the EEPROM before it is used. Half a second long where the EEPROM is blank. */
void boots_begin(void);

/* Return whether this boot followed a drop of the supply; not known where a boot loader has cleared the register. */
bool boots_after_brown_out(void);

#endif
