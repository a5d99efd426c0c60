/* The whole of it: begin once, then take turn after turn. */
#ifndef BENCH_H
#define BENCH_H

void bench_begin(void);
void bench_turn(void);

#endif
