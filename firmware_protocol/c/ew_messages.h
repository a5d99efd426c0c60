/* The messages of the protocol (PROTOCOL.md, section 5), and the codes in them. */
#ifndef EW_MESSAGES_H
#define EW_MESSAGES_H

#include <stdbool.h>
#include <stdint.h>

#include "ew_limits.h"

typedef enum {
    EW_HELLO = 1,
    EW_SAMPLES = 2,
    EW_STATUS = 3,
    EW_PONG = 4,
    EW_PING = 16,
    EW_IDENTIFY = 17,
    EW_START = 18,
    EW_STOP = 19,
    EW_SET_RATE = 20,
    EW_ACK = 21,
    EW_RESUME = 22
} ew_type;

typedef enum {
    EW_BRIDGE_COUNTS = 1,
    EW_THERMOCOUPLE_LINEARISED = 2,
    EW_THERMOCOUPLE_FLAT = 3,
    EW_COLD_JUNCTION = 4,
    EW_TEMPERATURE = 5,
    EW_PRESSURE = 6,
    EW_CARBON_MONOXIDE = 7
} ew_kind;

/* Fault bits of a sample. */
#define EW_FAULT_OPEN 1u
#define EW_FAULT_SHORT_LOW 2u
#define EW_FAULT_SHORT_HIGH 4u
#define EW_FAULT_SATURATED 8u
#define EW_FAULT_NO_ANSWER 16u
#define EW_FAULT_COLD_JUNCTION 32u

/* Flags of a status. */
#define EW_FLAG_SAMPLING 1u
#define EW_FLAG_OVERRAN 2u
#define EW_FLAG_BROWN_OUT 4u

#define EW_NO_STREAM 255u

/* One entry of the channel table: physical value = (raw - zero) * scale. */
typedef struct {
    uint8_t id;
    char name[EW_MAX_NAME_BYTES + 1u];
    uint8_t kind;
    uint8_t serves; /* for a cold junction, the stream of its thermocouple; else EW_NO_STREAM */
    uint32_t period_us;
    double scale;
    int32_t zero;
} ew_channel;

typedef struct {
    uint32_t boot;
    uint32_t ticks;
    uint32_t flags;
    uint32_t rejected;
    uint32_t lost;
    uint32_t waiting;
} ew_status;

typedef struct {
    uint32_t boot;
    uint64_t time_ns;
    uint32_t ticks;
} ew_pong;

/* What a host sends. */
typedef struct {
    ew_type type;
    uint32_t boot; /* of all but ping and identify; a device ignores what is meant for another boot */
    union {
        uint64_t time_ns; /* ping */
        uint32_t version; /* identify */
        struct {
            uint8_t stream;
            uint32_t period_us;
        } rate; /* set rate */
        struct {
            uint8_t count;
            uint8_t stream[EW_MAX_CHANNELS];
            uint32_t seq[EW_MAX_CHANNELS];
        } wanted; /* ack and resume: the next sample wanted of each of `count` streams */
    } of;
} ew_command;

#endif
