/* An emulated bench: the firmware of a board, with emulated converters that hold what lines on the standard input say. */
#define _GNU_SOURCE
#include <getopt.h>
#include <inttypes.h>
#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "air_chip.h"
#include "bridge_chip.h"
#include "core.h"
#include "feed.h"
#include "line.h"
#include "probe_chip.h"
#include "tally.h"

#define USAGE                                                                                                          \
    "usage: emulated_bench --firmware FILE.elf --port LINK [OPTION...] < happenings\n"                                 \
    "\n"                                                                                                               \
    "  --firmware FILE.elf  what runs on the emulated ATmega328P\n"                                                    \
    "  --port LINK          link to the pseudo-terminal that stands for its serial port\n"                             \
    "  --speed N            seconds of the bench in a second, from when the host first speaks; without it, as fast as\n" \
    "                       lines come\n"                                                                               \
    "  --water CHIP         31855 (as it is without this), 31856, or 0 for none\n"                                     \
    "  --flame CHIP         the same for the probe in the flame\n"                                                     \
    "  --air                there is a barometer\n"                                                                    \
    "  --wrap-after S       seconds until the board's counter wraps for the first time\n"                              \
    "  --eeprom FILE        keeps the board's EEPROM from run to run\n"                                                \
    "  --linger S           seconds of the bench to wait, at the end, for the host to store the rest (30)\n"           \
    "  --tally FILE         writes what the board took, sent and was told of, as JSON, at the end\n"                   \
    "\n"                                                                                                               \
    "Each line is a time in microseconds since the board was switched on, and what happens then:\n"                    \
    "  T mass CODE             the bridge converter has made a conversion\n"                                           \
    "  T water|flame C [BITS]  a probe's tip has so many degrees; fault bits: 1 open, 2 shorted low, 4 shorted high\n" \
    "  T water_cj|flame_cj C   its converter has so many degrees\n"                                                    \
    "  T ambient C          the barometer's thermometer has so many degrees\n"                                         \
    "  T pressure PA        the air has so many pascals\n"                                                             \
    "  T mass-short         the bridge converter's data line touches ground from now on\n"                              \
    "  T brown-out             the supply drops for a moment\n"                                                        \
    "  T hang                  the firmware runs into a loop without end\n"                                            \
    "  T sync                  says T on the standard output once the board's time is T\n"

#define FAST_US 12500U
#define LARGEST_STEP_US 20000U
#define LOOK_US 1000U
#define LOOK_AGAIN_US 5000U

typedef struct {
    core_t *core;
    line_t *line;
    tally_t *tally;
    bridge_chip_t bridge;
    probe_bus_t probes;
    air_chip_t air;
    double speed;
    uint64_t fast_due_us;
    uint64_t paced_us; /* when to look at the clock on the wall again */
    struct timespec started;
    double furthest_behind_s; /* of the bench */
} bench_t;

static volatile sig_atomic_t told_to_stop;

static void stop(int number) {
    (void)number;
    told_to_stop = 1;
}

/* Wait until the clock on the wall has come as far as the bench's; not more often than a thousand times a second. */
static void keep_pace(bench_t *bench) {
    const uint64_t now_us = core_now_us(bench->core);
    if (bench->speed <= 0.0 || now_us < bench->paced_us) {
        return;
    }
    bench->paced_us = now_us + (uint64_t)(1000.0 * bench->speed);
    const uint64_t nanoseconds = (uint64_t)bench->started.tv_nsec + (uint64_t)((double)now_us * 1000.0 / bench->speed);
    const struct timespec until = {bench->started.tv_sec + (time_t)(nanoseconds / 1000000000U),
                                   (long)(nanoseconds % 1000000000U)};
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    const double behind_s = (double)(now.tv_sec - until.tv_sec) + (double)(now.tv_nsec - until.tv_nsec) * 1e-9;
    bench->furthest_behind_s = fmax(bench->furthest_behind_s, behind_s * bench->speed);
    clock_nanosleep(CLOCK_MONOTONIC, TIMER_ABSTIME, &until, NULL);
}

/* What the emulator forgets in a reset. */
static void begin_boot(bench_t *bench) {
    line_attach(bench->line);
    bridge_chip_wake(&bench->bridge);
}

static void advance(bench_t *bench, uint64_t until_us) {
    while (core_now_us(bench->core) < until_us && !told_to_stop) {
        const uint64_t now_us = core_now_us(bench->core);
        uint64_t next_us = line_carry(bench->line, now_us);
        if (next_us > until_us) {
            next_us = until_us;
        }
        if (bench->bridge.fast) {
            if (now_us >= bench->fast_due_us) {
                bench->fast_due_us = now_us + FAST_US;
                bridge_chip_convert(&bench->bridge);
            }
            next_us = next_us < bench->fast_due_us ? next_us : bench->fast_due_us;
        }
        if (next_us > now_us + LARGEST_STEP_US) {
            next_us = now_us + LARGEST_STEP_US;
        }
        if (!core_run(bench->core, next_us)) {
            tally_end_of_boot(bench->tally);
            begin_boot(bench);
        }
        keep_pace(bench);
    }
}

static void happen(bench_t *bench, const happening_t *happening) {
    const char *what = happening->what;
    const bool water = !strncmp(what, "water", 5);
    probe_chip_t *probe = &bench->probes.probe[water ? 0 : 1];
    if (!strcmp(what, "mass")) {
        bench->bridge.code = (int32_t)happening->value;
        if (!bench->bridge.fast) {
            bridge_chip_convert(&bench->bridge);
        }
    } else if (!strcmp(what, "water") || !strcmp(what, "flame")) {
        probe->tip_c = happening->value;
        probe->tip_faults = happening->faults;
    } else if (!strcmp(what, "water_cj") || !strcmp(what, "flame_cj")) {
        probe->junction_c = happening->value;
    } else if (!strcmp(what, "ambient")) {
        bench->air.air_c = happening->value;
    } else if (!strcmp(what, "pressure")) {
        bench->air.pressure_pa = happening->value;
    } else if (!strcmp(what, "mass-short")) {
        bridge_chip_short(&bench->bridge);
    } else if (!strcmp(what, "brown-out")) {
        tally_end_of_boot(bench->tally);
        core_brown_out(bench->core);
        begin_boot(bench);
    } else if (!strcmp(what, "hang")) {
        core_hang(bench->core);
    } else if (!strcmp(what, "sync")) {
        printf("%" PRIu64 "\n", happening->at_us);
        fflush(stdout);
    } else {
        fail("nobody knows what %s is", what);
    }
}

/* Take no more samples, and wait until the host has stored what there is. */
static void wind_up(bench_t *bench, double linger_s) {
    const uint64_t until_us = core_now_us(bench->core) + (uint64_t)(linger_s * 1e6);
    *core_variable(bench->core, "streams_sampling") = 0;
    while (core_now_us(bench->core) < until_us && tally_waiting(bench->tally) > 0 && !told_to_stop) {
        advance(bench, core_now_us(bench->core) + LARGEST_STEP_US);
    }
}

int main(int count, char *words[]) {
    static const struct option OPTIONS[] = {
        {"firmware", 1, NULL, 'f'}, {"port", 1, NULL, 'p'},   {"speed", 1, NULL, 's'},
        {"water", 1, NULL, 'w'},    {"flame", 1, NULL, 'l'},  {"wrap-after", 1, NULL, 'r'},
        {"eeprom", 1, NULL, 'e'},   {"linger", 1, NULL, 'g'}, {"tally", 1, NULL, 't'},
        {"air", 0, NULL, 'a'},      {"help", 0, NULL, 'h'},   {NULL, 0, NULL, 0},
    };
    const char *firmware = NULL;
    const char *port = NULL;
    const char *eeprom = NULL;
    const char *tally = NULL;
    double linger_s = 30.0;
    bool air = false;
    int water = 31855;
    int flame = 31855;
    uint32_t ticks = 0;
    bench_t bench = {0};
    for (int option; (option = getopt_long(count, words, "", OPTIONS, NULL)) != -1;) {
        switch (option) {
        case 'f': firmware = optarg; break;
        case 'p': port = optarg; break;
        case 's': bench.speed = atof(optarg); break;
        case 'w': water = atoi(optarg); break;
        case 'l': flame = atoi(optarg); break;
        case 'r': ticks = (uint32_t)(uint64_t)(4294967296.0 - atof(optarg) * 1e6); break;
        case 'e': eeprom = optarg; break;
        case 'g': linger_s = atof(optarg); break;
        case 'a': air = true; break;
        case 't': tally = optarg; break;
        case 'h': fputs(USAGE, stdout); return 0;
        default: fputs(USAGE, stderr); return 2;
        }
    }
    if (!firmware || !port || optind < count) {
        fputs(USAGE, stderr);
        return 2;
    }
    signal(SIGINT, stop);
    signal(SIGTERM, stop);
    bench.core = core_make(firmware, eeprom, ticks);
    bench.line = line_open(bench.core, port, bench.speed > 1.0 ? (uint64_t)(LOOK_US * bench.speed) : LOOK_US);
    bridge_chip_attach(&bench.bridge, bench.core);
    probe_bus_attach(&bench.probes, bench.core, water, flame);
    if (air) {
        air_chip_attach(&bench.air, bench.core);
    }
    bench.tally = tally_make(bench.core, air);
    if (bench.speed > 0.0) {
        fprintf(stderr, "emulated bench: port %s, waiting for the host\n", port);
        while (!told_to_stop && !line_wakes(bench.line)) {
            usleep(LOOK_AGAIN_US);
        }
    }
    clock_gettime(CLOCK_MONOTONIC, &bench.started);
    const struct timespec began = bench.started;
    happening_t happening;
    while (!told_to_stop && feed_next(&happening)) {
        advance(&bench, happening.at_us);
        happen(&bench, &happening);
    }
    wind_up(&bench, linger_s);
    const unsigned left = tally_waiting(bench.tally);
    tally_end_of_boot(bench.tally);
    struct timespec ended;
    clock_gettime(CLOCK_MONOTONIC, &ended);
    const double took_s = (double)(ended.tv_sec - began.tv_sec) + (double)(ended.tv_nsec - began.tv_nsec) * 1e-9;
    const double bench_s = (double)core_now_us(bench.core) * 1e-6;
    tally_number(bench.tally, "times_real", bench_s / took_s);
    tally_number(bench.tally, "furthest_behind_s", bench.furthest_behind_s);
    tally_number(bench.tally, "stack_bytes_untouched", core_untouched(bench.core));
    tally_number(bench.tally, "line_bytes_lost", line_lost(bench.line));
    tally_number(bench.tally, "bridge_conversions", bench.bridge.conversions);
    tally_number(bench.tally, "bridge_readings", bench.bridge.readings);
    tally_number(bench.tally, "bridge_longest_pulse_us", (double)bench.bridge.longest / CORE_CYCLES_PER_US);
    tally_number(bench.tally, "bridge_powered_down", bench.bridge.powered_down);
    tally_number(bench.tally, "water_readings", bench.probes.probe[0].readings);
    tally_number(bench.tally, "flame_readings", bench.probes.probe[1].readings);
    if (tally) {
        tally_write(bench.tally, tally);
    }
    core_keep_eeprom(bench.core);
    line_close(bench.line);
    fprintf(stderr, "emulated bench: %.0f s of the bench in %.1f s, %u samples were left with the board\n", bench_s, took_s,
            left);
    return left > 0 && !told_to_stop ? 1 : 0;
}
