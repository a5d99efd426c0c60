/* Type K thermocouples. */
#ifndef THERMOCOUPLE_H
#define THERMOCOUPLE_H

/* Return the voltage of a junction at so many degrees against one at 0 degrees, in millivolts; from -200 to 1372 degrees. */
double thermocouple_mv(double t_c);

#endif
