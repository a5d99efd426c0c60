#include "ew_crc.h"

#ifdef __AVR__
#include <avr/pgmspace.h>
#define IN_FLASH PROGMEM
#define READ_U32(address) pgm_read_dword(address)
#else
#define IN_FLASH
#define READ_U32(address) (*(address))
#endif

/* The remainder of each nibble by the reflected polynomial 0xEDB88320. */
static const uint32_t REMAINDERS[16] IN_FLASH = {
    0x00000000ul, 0x1DB71064ul, 0x3B6E20C8ul, 0x26D930ACul, 0x76DC4190ul, 0x6B6B51F4ul, 0x4DB26158ul, 0x5005713Cul,
    0xEDB88320ul, 0xF00F9344ul, 0xD6D6A3E8ul, 0xCB61B38Cul, 0x9B64C2B0ul, 0x86D3D2D4ul, 0xA00AE278ul, 0xBDBDF21Cul,
};

uint32_t ew_crc_add(uint32_t crc, uint8_t byte) {
    crc ^= byte;
    crc = (crc >> 4) ^ READ_U32(&REMAINDERS[crc & 0x0Fu]);
    crc = (crc >> 4) ^ READ_U32(&REMAINDERS[crc & 0x0Fu]);
    return crc;
}
