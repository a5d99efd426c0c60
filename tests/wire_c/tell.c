/* Says what the codec makes of bytes: each line of hexadecimal digits is one run of bytes on a serial line, and its
 * answer is one line of JSON, a list of what the receiver came to. With the argument "device" the bytes are taken in as
 * a device does, in the buffer that a device has; with "together" the bodies are cut into messages, and the last answer of
 * a line is one frame with as many of them as fit. */
#include <ctype.h>
#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "again.h"

#define LONGEST_LINE 8192

static const char *const NAMES[] = {
    [EW_FRAME_TOO_LONG] = "FrameTooLongError",
    [EW_FRAME_TOO_SHORT] = "FrameTooShortError",
    [EW_BAD_STUFFING] = "BadStuffingError",
    [EW_BAD_CHECKSUM] = "BadChecksumError",
    [EW_NOT_CBOR] = "NotCborError",
    [EW_NOT_A_MESSAGE] = "NotAMessageError",
    [EW_UNKNOWN_MESSAGE] = "UnknownMessageError",
    [EW_UNSUPPORTED_VERSION] = "UnsupportedVersionError",
    [EW_MISSING_FIELD] = "MissingFieldError",
    [EW_WRONG_FIELD] = "WrongFieldError",
};

static const char *const TYPES[] = {
    [EW_HELLO] = "Hello",       [EW_SAMPLES] = "Samples", [EW_STATUS] = "Status",   [EW_PONG] = "Pong",
    [EW_PING] = "Ping",         [EW_IDENTIFY] = "Identify", [EW_START] = "Start",   [EW_STOP] = "Stop",
    [EW_SET_RATE] = "SetRate",  [EW_ACK] = "Ack",         [EW_RESUME] = "Resume",
};

static void print_hex(const uint8_t *bytes, size_t count) {
    putchar('"');
    for (size_t i = 0; i < count; i++) {
        printf("%02x", bytes[i]);
    }
    putchar('"');
}

static void print_numbers(const char *name, const ew_numbers *numbers) {
    printf(", \"%s\": ", name);
    if (numbers->tag == 0u) {
        printf("null");
    } else {
        printf("{\"tag\": %u, \"bytes\": ", numbers->tag);
        print_hex(numbers->bytes, (size_t)ew_item_bytes(numbers->tag) * numbers->count);
        putchar('}');
    }
}

static void print_text(const char *name, const char *text) {
    printf(", \"%s\": \"", name);
    for (const char *at = text; *at != '\0'; at++) {
        printf((*at == '"' || *at == '\\') ? "\\%c" : "%c", *at);
    }
    putchar('"');
}

static void print_channel(const ew_channel *channel) {
    printf("{\"id\": %u", channel->id);
    print_text("name", channel->name);
    printf(", \"kind\": %u, \"period_us\": %" PRIu32, channel->kind, channel->period_us);
    printf(", \"scale\": %.17g, \"zero\": %" PRId32 ", \"serves\": ", channel->scale, channel->zero);
    if (channel->serves == EW_NO_STREAM) {
        printf("null}");
    } else {
        printf("%u}", channel->serves);
    }
}

static void print_hello(const ew_hello_report *hello) {
    printf("\"boot\": %" PRIu32, hello->boot);
    print_text("device", hello->device);
    print_text("firmware", hello->firmware);
    printf(", \"channels\": [");
    for (uint8_t i = 0; i < hello->channel_count; i++) {
        printf("%s", i > 0u ? ", " : "");
        print_channel(&hello->channels[i]);
    }
    printf("], \"ticks\": %" PRIu32 ", \"frame_period_ms\": %u, \"ring_ms\": %" PRIu32, hello->ticks,
           hello->frame_period_ms, hello->ring_ms);
}

static void print_report(const ew_report *report) {
    switch (report->type) {
        case EW_HELLO:
            print_hello(&report->of.hello);
            break;
        case EW_SAMPLES:
            printf("\"boot\": %" PRIu32 ", \"stream\": %u, \"first_seq\": %" PRIu32 ", \"ticks\": %" PRIu32,
                   report->of.samples.boot, report->of.samples.stream, report->of.samples.first_seq,
                   report->of.samples.ticks);
            printf(", \"oldest_seq\": %" PRIu32 ", \"period_us\": ", report->of.samples.oldest_seq);
            printf(report->of.samples.period_us > 0u ? "%" PRIu32 : "null", report->of.samples.period_us);
            print_numbers("offsets", &report->of.samples.offsets);
            print_numbers("values", &report->of.samples.values);
            print_numbers("faults", &report->of.samples.faults);
            break;
        case EW_STATUS:
            printf("\"boot\": %" PRIu32 ", \"ticks\": %" PRIu32 ", \"flags\": %" PRIu32 ", \"rejected\": %" PRIu32,
                   report->of.status.boot, report->of.status.ticks, report->of.status.flags,
                   report->of.status.rejected);
            printf(", \"lost\": %" PRIu32 ", \"waiting\": %" PRIu32, report->of.status.lost, report->of.status.waiting);
            break;
        default:
            printf("\"boot\": %" PRIu32 ", \"time_ns\": %" PRIu64 ", \"ticks\": %" PRIu32, report->of.pong.boot,
                   report->of.pong.time_ns, report->of.pong.ticks);
            break;
    }
}

static void print_command(const ew_command *command) {
    if (command->type == EW_PING) {
        printf("\"time_ns\": %" PRIu64, command->of.time_ns);
    } else if (command->type == EW_IDENTIFY) {
        printf("\"version\": %" PRIu32, command->of.version);
    } else {
        printf("\"boot\": %" PRIu32, command->boot);
    }
    if (command->type == EW_SET_RATE) {
        printf(", \"stream\": %u, \"period_us\": %" PRIu32, command->of.rate.stream, command->of.rate.period_us);
    } else if ((command->type == EW_ACK) || (command->type == EW_RESUME)) {
        printf(", \"wanted\": {");
        for (uint8_t i = 0; i < command->of.wanted.count; i++) {
            printf("%s\"%u\": %" PRIu32, i > 0u ? ", " : "", command->of.wanted.stream[i], command->of.wanted.seq[i]);
        }
        putchar('}');
    }
}

static uint16_t write_again(uint8_t *bytes, uint16_t size, const ew_report *report, const ew_command *command) {
    return (report != NULL) ? write_report(bytes, size, report) : ew_write_command(bytes, size, command);
}

/* Writes the message again, into a buffer of its own size, and sees that a smaller one is refused. */
static void print_again(const ew_report *report, const ew_command *command) {
    uint8_t roomy[EW_MAX_FRAME_BYTES];
    const uint16_t length = write_again(roomy, sizeof roomy, report, command);
    uint8_t *tight = malloc(length > 0u ? length : 1u);
    if ((tight == NULL) || (length > 0u && (write_again(tight, length, report, command) != length ||
                                            memcmp(roomy, tight, length) != 0 ||
                                            write_again(tight, (uint16_t)(length - 1u), report, command) != 0u))) {
        abort();
    }
    free(tight);
    printf("\"frame\": ");
    print_hex(roomy, length);
}

static void print_body(const ew_body *body, bool as_device) {
    ew_report report;
    ew_command command;
    const bool is_report = !as_device && ew_read_report(body, &report) == EW_OK;
    ew_result result = EW_OK;
    if (!is_report) {
        const ew_result refused = as_device ? EW_UNKNOWN_MESSAGE : ew_read_report(body, &report);
        result = (refused == EW_UNKNOWN_MESSAGE) ? ew_read_command(body, &command) : refused;
    }
    if (result != EW_OK) {
        printf("{\"error\": \"%s\", \"body\": ", NAMES[result]);
        print_hex(body->bytes, body->length);
        putchar('}');
        return;
    }
    printf("{\"message\": \"%s\", \"body\": ", TYPES[is_report ? report.type : command.type]);
    print_hex(body->bytes, body->length);
    printf(", \"fields\": {");
    if (is_report) {
        print_report(&report);
    } else {
        print_command(&command);
    }
    printf("}, ");
    print_again(is_report ? &report : NULL, &command);
    putchar('}');
}

#define MOST_TOGETHER 64u

static ew_report reports[MOST_TOGETHER];
static uint8_t kept[MOST_TOGETHER][EW_MAX_BODY_BYTES];
static size_t report_count = 0;

/* Tells each message of a body, and keeps it. */
static void print_messages(const ew_body *body) {
    ew_body rest = *body;
    ew_body message;
    const char *between = "";
    while (ew_take_message(&rest, &message)) {
        printf("%s", between);
        between = ", ";
        print_body(&message, false);
        if (report_count == MOST_TOGETHER) {
            abort();
        }
        memcpy(kept[report_count], message.bytes, message.length);
        const ew_body own = {kept[report_count], message.length};
        if (ew_read_report(&own, &reports[report_count]) == EW_OK) {
            report_count++;
        }
    }
}

static void print_together(void) {
    uint8_t bytes[EW_MAX_FRAME_BYTES];
    ew_frame frame;
    ew_frame_start(&frame, bytes, sizeof bytes);
    for (size_t i = 0; i < report_count && frame.fits; i++) {
        const ew_frame before = frame;
        add_report(&frame, &reports[i]);
        if (!frame.fits) {
            frame = before;
            break;
        }
    }
    const uint16_t length = ew_frame_end(&frame);
    printf("{\"frame\": ");
    print_hex(bytes, length);
    putchar('}');
    report_count = 0;
}

static unsigned digit(char c) {
    return (unsigned)(isdigit((unsigned char)c) ? c - '0' : tolower((unsigned char)c) - 'a' + 10);
}

int main(int count, char **arguments) {
    const bool as_device = (count > 1) && (strcmp(arguments[1], "device") == 0);
    const bool together = (count > 1) && (strcmp(arguments[1], "together") == 0);
    const uint16_t size = as_device ? EW_MAX_HOST_STUFFED_BYTES : EW_MAX_STUFFED_BYTES;
    static char line[LONGEST_LINE];
    uint8_t *buffer = malloc(size);
    if (buffer == NULL) {
        return 1;
    }
    while (fgets(line, sizeof line, stdin) != NULL) {
        ew_receiver receiver;
        ew_receiver_start(&receiver, buffer, size);
        const char *between = "";
        putchar('[');
        for (const char *at = line; isxdigit((unsigned char)at[0]) && isxdigit((unsigned char)at[1]); at += 2) {
            ew_body body;
            const ew_result result = ew_receive(&receiver, (uint8_t)(digit(at[0]) * 16u + digit(at[1])), &body);
            if (result == EW_NOTHING) {
                continue;
            }
            printf("%s", between);
            between = ", ";
            if (result == EW_OK && together) {
                print_messages(&body);
            } else if (result == EW_OK) {
                print_body(&body, as_device);
            } else {
                printf("{\"error\": \"%s\"}", NAMES[result]);
            }
        }
        if (together) {
            printf("%s", between);
            print_together();
        }
        printf("]\n");
    }
    free(buffer);
    return 0;
}
