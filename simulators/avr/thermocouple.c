#include "thermocouple.h"

#include <math.h>

/* Reference function of type K, ITS-90: NIST Monograph 175 (1993), as in IEC 60584-1. */
static const double BELOW[] = {
    0.0, 0.394501280250e-01, 0.236223735980e-04, -0.328589067840e-06, -0.499048287770e-08, -0.675090591730e-10,
    -0.574103274280e-12, -0.310888728940e-14, -0.104516093650e-16, -0.198892668780e-19, -0.163226974860e-22,
};
static const double ABOVE[] = {
    -0.176004136860e-01, 0.389212049750e-01, 0.185587700320e-04, -0.994575928740e-07, 0.318409457190e-09,
    -0.560728448890e-12, 0.560750590590e-15, -0.320207200030e-18, 0.971511471520e-22, -0.121047212750e-25,
};

double thermocouple_mv(double t_c) {
    const double *terms = t_c < 0.0 ? BELOW : ABOVE;
    const int count = t_c < 0.0 ? (int)(sizeof BELOW / sizeof *BELOW) : (int)(sizeof ABOVE / sizeof *ABOVE);
    double mv = 0.0;
    for (int i = count - 1; i >= 0; i--) {
        mv = mv * t_c + terms[i];
    }
    if (t_c >= 0.0) {
        mv += 0.118597600000 * exp(-0.118343200000e-03 * (t_c - 126.9686) * (t_c - 126.9686));
    }
    return mv;
}
