#define _GNU_SOURCE
#include "tally.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static const char *const NAMES[] = {"mass", "water", "flame", "water_cj", "flame_cj", "ambient", "pressure"};

/* As in the firmware's ring.h: both ends are little-endian, and nothing is padded on either. */
typedef struct {
    uint32_t taken;
    uint16_t kept;
    uint16_t unacknowledged;
    uint16_t unsent;
    uint16_t unheard;
} stream_t;

struct tally {
    core_t *core;
    int streams;
    char *boots;
    char *numbers;
};

static void append(char **text, const char *format, ...) {
    va_list arguments;
    char *more = NULL;
    char *all = NULL;
    va_start(arguments, format);
    if (vasprintf(&more, format, arguments) < 0 || asprintf(&all, "%s%s", *text, more) < 0) {
        fail("no memory is left");
    }
    va_end(arguments);
    free(more);
    free(*text);
    *text = all;
}

static stream_t stream_of(const tally_t *tally, int i) {
    stream_t stream;
    memcpy(&stream, core_variable(tally->core, "ring_streams") + (size_t)i * sizeof stream, sizeof stream);
    return stream;
}

tally_t *tally_make(core_t *core, bool air) {
    tally_t *tally = calloc(1, sizeof *tally);
    if (!tally) {
        fail("no memory is left");
    }
    tally->core = core;
    tally->streams = air ? 7 : 5;
    tally->boots = strdup("");
    tally->numbers = strdup("");
    return tally;
}

void tally_end_of_boot(tally_t *tally) {
    uint32_t boot;
    memcpy(&boot, core_variable(tally->core, "boot_id"), sizeof boot);
    append(&tally->boots, "%s\n  {\"boot\": %u, \"streams\": {", *tally->boots ? "," : "", boot);
    for (int i = 0; i < tally->streams; i++) {
        const stream_t stream = stream_of(tally, i);
        append(&tally->boots, "%s\n   \"%s\": {\"taken\": %u, \"transmitted\": %u, \"acknowledged\": %u}", i ? "," : "",
               NAMES[i], stream.taken, stream.taken - stream.unheard, stream.taken - stream.unacknowledged);
    }
    append(&tally->boots, "}}");
}

unsigned tally_waiting(const tally_t *tally) {
    unsigned waiting = 0;
    for (int i = 0; i < tally->streams; i++) {
        const stream_t stream = stream_of(tally, i);
        waiting += stream.unacknowledged < stream.kept ? stream.unacknowledged : stream.kept;
    }
    return waiting;
}

void tally_number(tally_t *tally, const char *name, double value) {
    append(&tally->numbers, ",\n \"%s\": %.10g", name, value);
}

void tally_write(const tally_t *tally, const char *path) {
    FILE *file = fopen(path, "w");
    if (!file || fprintf(file, "{\"boots\": [%s]%s}\n", tally->boots, tally->numbers) < 0 || fclose(file)) {
        fail("cannot write %s", path);
    }
}
