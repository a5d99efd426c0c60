/* What a maker changes: who this board is and what is wired to it. The Makefile can set each of these, too. */
#ifndef CONFIG_H
#define CONFIG_H

/* Printable ASCII without blanks, at most 32 characters. Each board needs its own, and keeps it. */
#ifndef DEVICE_ID
#define DEVICE_ID "bench-1"
#endif

/* Bits a second. 16 MHz divides to 57,143, 0.8 % slow; at 115,200 it would be 2.1 % off, more than a receiver may add. */
#ifndef BAUD
#define BAUD 57600
#endif

/* The thermocouple converters: 31855 (applies one slope) or 31856 (applies the thermocouple's own function), or 0 for none. */
#ifndef WATER_CHIP
#define WATER_CHIP 31855
#endif
#ifndef FLAME_CHIP
#define FLAME_CHIP 31855
#endif

/* Thermocouple of a 31856: 0 B, 1 E, 2 J, 3 K, 4 N, 5 R, 6 S, 7 T. A 31855 is bought for its kind. */
#ifndef WATER_KIND
#define WATER_KIND 3
#endif
#ifndef FLAME_KIND
#define FLAME_KIND 3
#endif

/* 1 where a barometer of the BME280 class is on the two-wire bus, at address 0x76. */
#ifndef WITH_AIR
#define WITH_AIR 0
#endif

/* Grams a count, nominal: a cell of 5 kg and 1 mV/V at gain 128. The host has the calibration that counts. */
#ifndef GRAMS_PER_COUNT
#define GRAMS_PER_COUNT 0.0023866348f
#endif

/* What follows from that. */

#define CONFIG_STREAMS (WITH_AIR ? 7U : 5U)

/* The longest frame is the hello: its fields, its channels, and the device id. Frames of samples are made to fit. */
#define CONFIG_FRAME_BYTES (53U + (WITH_AIR ? 186U : 131U) + sizeof(DEVICE_ID))

/* The ring has what is left of 1,638 bytes. */
#define CONFIG_RING_BYTES ((WITH_AIR ? 1112U : 1176U) - CONFIG_FRAME_BYTES - sizeof(DEVICE_ID))

#endif
