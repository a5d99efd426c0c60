// The sketch of a bench: see README.md in the folder above. All of it is in the C files beside this one.

extern "C" {
#include "bench.h"
}

void setup() {
    bench_begin();
}

void loop() {
    bench_turn();
}
