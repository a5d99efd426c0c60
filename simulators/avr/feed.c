#include "feed.h"

#include <inttypes.h>
#include <stdio.h>

#include "core.h"

bool feed_next(happening_t *happening) {
    static uint64_t newest_us;
    char line[128];
    if (!fgets(line, sizeof line, stdin)) {
        return false;
    }
    happening->value = 0.0;
    happening->faults = 0;
    const int found = sscanf(line, "%" SCNu64 " %15s %lf %u", &happening->at_us, happening->what, &happening->value,
                             &happening->faults);
    if (found < 2 || happening->at_us < newest_us) {
        fail("cannot make anything of this line: %s", line);
    }
    newest_us = happening->at_us;
    return true;
}
