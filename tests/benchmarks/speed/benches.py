"""Simulated benches behind a broker, all in one process, each a device of its own with the hour's burn.

Usage: python -m benchmarks.speed.benches HOST:PORT COUNT

They are called `bench-0`, `bench-1` and so on, and go on until the process is ended.
"""

import sys
import time
from itertools import count

from benchmarks.accuracy.pace import hour
from emberline_sim.broker_port import BrokerPlace, BrokerPort
from emberline_sim.device.life import DeviceSpec
from emberline_sim.device.microcontroller import Microcontroller
from emberline_sim.device.wiring import wire
from emberline_sim.faults import Mischief
from emberline_sim.hookup import BrokerHookup

STEP_S = 0.05


def main(address: str, number: int) -> None:
    """Run so many benches at the real pace, their frames spread over the second."""
    host, _, port = address.partition(":")
    recording = hour()
    hookups = []
    for index in range(number):
        device = Microcontroller(DeviceSpec(device=f"dev-{index}"), *wire(recording), count(1 + time.time_ns() % 2**31))
        way = BrokerPort(BrokerPlace(host, int(port)), f"bench-{index}", f"dev-{index}")
        way.plug()
        hookups.append(BrokerHookup(device, way, Mischief([], seed=index)))
    start_s = time.monotonic()
    while True:
        now_s = time.monotonic() - start_s
        for index, hookup in enumerate(hookups):
            hookup.step(now_s + index / number)
        time.sleep(max(0.0, STEP_S - (time.monotonic() - start_s - now_s)))


if __name__ == "__main__":
    main(sys.argv[1], int(sys.argv[2]))
