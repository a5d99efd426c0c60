/* Feeds the codec with anything: it may only say what is wrong. What it takes it must write again, and read the same.
 *
 * With clang:  clang -g -fsanitize=fuzzer,address,undefined -DLIBFUZZER ... fuzz.c again.c ../../firmware_protocol/c/(all).c
 * Without, main() makes the input itself: sound examples from standard input, one a line in hexadecimal digits, with
 * bytes changed, lost, doubled and made up. Arguments: executions, seed. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "again.h"

static unsigned long frames_read = 0;
static unsigned long messages_read = 0;

static void check(bool holds) {
    if (!holds) {
        abort();
    }
}

/* What was read is written, read again and written again: the second writing must be the first. */
static void go_round_report(const ew_report *report, uint16_t body_bytes) {
    static uint8_t first[2u * EW_MAX_FRAME_BYTES];
    static uint8_t second[2u * EW_MAX_FRAME_BYTES];
    static uint8_t buffer[EW_MAX_STUFFED_BYTES];
    const uint16_t length = write_report(first, sizeof first, report);
    if (length == 0u) {
        /* The shortest form of what fitted fits, unless a scale that was no float has become one. */
        check(report->type == EW_HELLO && body_bytes > EW_MAX_BODY_BYTES - 8u * EW_MAX_CHANNELS);
        return;
    }
    ew_receiver receiver;
    ew_body body;
    ew_report again;
    ew_result result = EW_NOTHING;
    ew_receiver_start(&receiver, buffer, sizeof buffer);
    for (uint16_t i = 0; i < length; i++) {
        result = ew_receive(&receiver, first[i], &body);
    }
    check(result == EW_OK && ew_read_report(&body, &again) == EW_OK);
    check(write_report(second, sizeof second, &again) == length && memcmp(first, second, length) == 0);
}

static void go_round_command(const ew_command *command) {
    uint8_t first[EW_MAX_HOST_FRAME_BYTES];
    uint8_t second[EW_MAX_HOST_FRAME_BYTES];
    uint8_t buffer[EW_MAX_HOST_STUFFED_BYTES];
    const uint16_t length = ew_write_command(first, sizeof first, command);
    check(length > 0u);
    ew_receiver receiver;
    ew_body body;
    ew_command again;
    ew_result result = EW_NOTHING;
    ew_receiver_start(&receiver, buffer, sizeof buffer);
    for (uint16_t i = 0; i < length; i++) {
        result = ew_receive(&receiver, first[i], &body);
    }
    check(result == EW_OK && ew_read_command(&body, &again) == EW_OK);
    check(ew_write_command(second, sizeof second, &again) == length && memcmp(first, second, length) == 0);
}

static void read_both(const ew_body *body) {
    /* A copy of the body's own size: one byte too far is seen. */
    uint8_t *copy = malloc(body->length);
    check(copy != NULL);
    memcpy(copy, body->bytes, body->length);
    const ew_body own = {copy, body->length};
    ew_report report;
    ew_command command;
    const ew_result as_report = ew_read_report(&own, &report);
    const ew_result as_command = ew_read_command(&own, &command);
    check(as_report != EW_OK || as_command == EW_UNKNOWN_MESSAGE);
    check(as_report != EW_NOTHING && as_command != EW_NOTHING);
    if (as_report == EW_OK) {
        messages_read++;
        go_round_report(&report, body->length);
    }
    if (as_command == EW_OK) {
        messages_read++;
        go_round_command(&command);
    }
    free(copy);
}

/* Every byte of a body is in one of its messages; several are no command. */
static void read_all(const ew_body *body) {
    ew_body rest = *body;
    ew_body message;
    size_t bytes = 0;
    while (ew_take_message(&rest, &message)) {
        check(message.bytes == &body->bytes[bytes] && message.length > 0u);
        bytes += message.length;
        read_both(&message);
    }
    check(bytes == body->length);
    if (message.length < body->length) {
        ew_command command;
        check(ew_read_command(body, &command) == EW_NOT_CBOR);
    }
}

/* The first byte says whether the rest is bytes of a line, for either size of receiver, or one body. */
int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size) {
    if (size < 2u) {
        return 0;
    }
    if (data[0] % 3u == 0u) {
        const size_t most = (size - 1u < EW_MAX_BODY_BYTES) ? size - 1u : EW_MAX_BODY_BYTES;
        const ew_body body = {&data[1], (uint16_t)most};
        read_all(&body);
        return 0;
    }
    const uint16_t room = (data[0] % 3u == 1u) ? EW_MAX_STUFFED_BYTES : EW_MAX_HOST_STUFFED_BYTES;
    uint8_t *buffer = malloc(room);
    check(buffer != NULL);
    ew_receiver receiver;
    ew_receiver_start(&receiver, buffer, room);
    for (size_t i = 1; i < size; i++) {
        ew_body body;
        if (ew_receive(&receiver, data[i], &body) == EW_OK) {
            frames_read++;
            check(body.length > 0u && body.length <= EW_MAX_BODY_BYTES);
            read_all(&body);
        }
    }
    free(buffer);
    return 0;
}

#ifndef LIBFUZZER

#define MOST_EXAMPLES 256u
#define LONGEST_INPUT 1200u

static uint8_t examples[MOST_EXAMPLES][LONGEST_INPUT];
static size_t lengths[MOST_EXAMPLES];
static size_t example_count = 0;

/* Xorshift (G. Marsaglia, Journal of Statistical Software 8 (2003) 14), with his triple 13, 7, 17. */
static uint64_t state = 0;

static size_t dice(size_t sides) {
    state ^= state << 13;
    state ^= state >> 7;
    state ^= state << 17;
    return (size_t)((state >> 16) % sides);
}

static void read_examples(void) {
    static char line[2u * LONGEST_INPUT + 2u];
    while (example_count < MOST_EXAMPLES && fgets(line, sizeof line, stdin) != NULL) {
        unsigned byte = 0;
        size_t length = 0;
        while (sscanf(&line[2u * length], "%2x", &byte) == 1) {
            examples[example_count][length] = (uint8_t)byte;
            length++;
        }
        lengths[example_count] = length;
        example_count++;
    }
}

/* Makes one change: a byte exchanged for any other or one near it, a piece lost, doubled, or taken from elsewhere. */
static size_t change(uint8_t *input, size_t size) {
    const size_t at = dice(size);
    const size_t piece = 1u + dice((size - at < 12u) ? size - at : 12u);
    const size_t other = dice(example_count);
    switch (dice(5u)) {
        case 0:
            input[at] = (uint8_t)dice(256u);
            return size;
        case 1:
            input[at] = (uint8_t)(input[at] + (dice(2u) == 0u ? 1u : 255u));
            return size;
        case 2:
            if (size - piece < 2u) {
                return size;
            }
            memmove(&input[at], &input[at + piece], size - at - piece);
            return size - piece;
        case 3:
            if (size + piece > LONGEST_INPUT) {
                return size;
            }
            memmove(&input[at + piece], &input[at], size - at);
            return size + piece;
        default:
            if (lengths[other] > piece) {
                memcpy(&input[at], &examples[other][dice(lengths[other] - piece)], piece);
            }
            return size;
    }
}

int main(int count, char **arguments) {
    if (count != 3) {
        return 2;
    }
    const unsigned long executions = strtoul(arguments[1], NULL, 10);
    state = strtoul(arguments[2], NULL, 10) + 88172645463325252u;
    read_examples();
    check(example_count > 0u);
    for (unsigned long i = 0; i < executions; i++) {
        uint8_t input[LONGEST_INPUT + 1u];
        const size_t chosen = dice(example_count);
        size_t size = lengths[chosen];
        memcpy(input, examples[chosen], size);
        for (size_t changes = dice(7u); changes > 0u; changes--) {
            size = change(input, size);
        }
        LLVMFuzzerTestOneInput(input, size);
    }
    printf("%lu executions, %lu frames and %lu messages among them\n", executions, frames_read, messages_read);
    return 0;
}

#endif
