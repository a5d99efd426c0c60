/* CRC-32/ISO-HDLC (ISO/IEC 13239; RFC 1952), four bits at a time: sixteen words of table. */
#ifndef EW_CRC_H
#define EW_CRC_H

#include <stdint.h>

#define EW_CRC_START 0xFFFFFFFFul

/* Returns the register after one more byte. The checksum is the register's complement at the end. */
uint32_t ew_crc_add(uint32_t crc, uint8_t byte);

#endif
