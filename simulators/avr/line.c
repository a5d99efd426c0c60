#define _GNU_SOURCE
#include "line.h"

#include <errno.h>
#include <fcntl.h>
#include <pty.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <unistd.h>

#include <simavr/avr_uart.h>

#define BYTE_US 176U /* ten bits at 57,143 baud */
#define ROOM 4096U

struct line {
    core_t *core;
    const char *link;
    int terminal;
    struct avr_irq_t *in;
    uint8_t to_host[ROOM];
    size_t to_host_used;
    uint8_t from_host[ROOM];
    size_t from_host_used;
    uint64_t look_us;
    uint64_t looked_us;
    uint64_t put_us;
    unsigned lost;
};

static void sent(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    line_t *line = param;
    if (line->to_host_used < ROOM) {
        line->to_host[line->to_host_used++] = (uint8_t)value;
    } else {
        line->lost++;
    }
}

void line_attach(line_t *line) {
    /* The emulator would write what the firmware sends to the console, and sleep when it waits. */
    uint32_t flags = 0;
    avr_ioctl(core_avr(line->core), AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
}

line_t *line_open(core_t *core, const char *link, uint64_t look_us) {
    line_t *line = calloc(1, sizeof *line);
    int host_side;
    char name[64];
    char fresh[4096];
    if (!line || openpty(&line->terminal, &host_side, name, NULL, NULL)) {
        fail("no pseudo-terminal can be had: %s", strerror(errno));
    }
    struct termios raw;
    tcgetattr(host_side, &raw);
    cfmakeraw(&raw);
    tcsetattr(host_side, TCSANOW, &raw);
    close(host_side);
    fcntl(line->terminal, F_SETFL, O_NONBLOCK);
    snprintf(fresh, sizeof fresh, "%s.new", link);
    unlink(fresh);
    if (symlink(name, fresh) || rename(fresh, link)) {
        fail("cannot make the link %s: %s", link, strerror(errno));
    }
    line->core = core;
    line->link = link;
    line->look_us = look_us;
    line->in = avr_io_getirq(core_avr(core), AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT);
    avr_irq_register_notify(avr_io_getirq(core_avr(core), AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), sent, line);
    line_attach(line);
    return line;
}

static void look(line_t *line) {
    if (line->to_host_used > 0) {
        const ssize_t taken = write(line->terminal, line->to_host, line->to_host_used);
        if (taken > 0) {
            memmove(line->to_host, line->to_host + taken, line->to_host_used - (size_t)taken);
            line->to_host_used -= (size_t)taken;
        } else if (errno == EIO) {
            line->to_host_used = 0; /* nobody has the port open */
        }
    }
    if (line->from_host_used < ROOM) {
        const ssize_t come = read(line->terminal, line->from_host + line->from_host_used, ROOM - line->from_host_used);
        if (come > 0) {
            line->from_host_used += (size_t)come;
        }
    }
}

uint64_t line_carry(line_t *line, uint64_t now_us) {
    if (now_us >= line->looked_us + line->look_us) {
        line->looked_us = now_us;
        look(line);
    }
    if (line->from_host_used > 0 && now_us >= line->put_us + BYTE_US) {
        line->put_us = now_us;
        avr_raise_irq(line->in, line->from_host[0]);
        memmove(line->from_host, line->from_host + 1, --line->from_host_used);
    }
    const uint64_t next_look_us = line->looked_us + line->look_us;
    const uint64_t next_put_us = line->put_us + BYTE_US;
    return line->from_host_used > 0 && next_put_us < next_look_us ? next_put_us : next_look_us;
}

bool line_wakes(line_t *line) {
    look(line);
    const bool heard = line->from_host_used > 0;
    line->from_host_used = 0;
    return heard;
}

unsigned line_lost(const line_t *line) { return line->lost; }

void line_close(line_t *line) {
    look(line);
    close(line->terminal);
    unlink(line->link);
    free(line);
}
