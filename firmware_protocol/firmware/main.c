/* Without a sketch: what calls the bench. */
#include "bench.h"

int main(void)
{
    bench_begin();
    for (;;) {
        bench_turn();
    }
}
