"""What differs from bench to bench. Change this file, and leave the others as they are."""

DEVICE = "bench-1"
BENCH = "bench-1"
"""Id of the bench file on the host."""

WIFI_NETWORK = ""
WIFI_PASSWORD = ""
BROKER = ""
BROKER_PORT = 1883
BROKER_USER = None
BROKER_PASSWORD = None

RING_S = 300
"""How long a break of the network may last without loss. 300 s take 52 kB; with external memory, 600 is better."""

LOAD_CELL_GRAMS_PER_COUNT = 0.0024
LOAD_CELL_ZERO = 0
"""Nominal only: the bench file has the calibration."""

LOAD_CELL_DATA, LOAD_CELL_CLOCK = 16, 17
SPI_CLOCK, SPI_DATA_IN = 18, 19
WATER_SELECT, FLAME_SELECT = 5, 4
