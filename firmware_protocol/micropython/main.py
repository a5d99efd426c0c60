"""The bench on an ESP32: a load cell and two thermocouples, to the broker of the house by Wi-Fi."""

import _thread
import os
import time

import machine
import network
import settings
from clock import Clock
from device import Channel, Device
from hx711 import Hx711
from max31855 import Max31855
from mqtt_link import MqttLink
from sender import Sender
from wire_messages import BRIDGE_COUNTS, BROWN_OUT, COLD_JUNCTION, FLAT

FIRMWARE = "mp-1"
FRAME_PERIOD_US = 1_000_000


def pulse(pin) -> None:
    """Clock a bridge converter once; the pulse must not be stretched."""
    state = machine.disable_irq()
    pin.value(1)
    pin.value(0)
    machine.enable_irq(state)


def probe(stream: int, name: str, spi, select: int) -> tuple:
    """Return a thermocouple converter with its two channels."""
    couple = Channel(stream, name, FLAT, 0.25, 16, 100_000, 200_000, settings.RING_S)
    junction = Channel(
        stream + 1, name + "_cj", COLD_JUNCTION, 0.0625, 16, 100_000, 1_000_000, settings.RING_S, serves=stream
    )
    return Max31855(spi, machine.Pin(select, machine.Pin.OUT, value=1), couple, junction), [couple, junction]


def sample(device: Device, sensors: list, clock: Clock) -> None:
    """Take readings for ever."""
    while True:
        for sensor in sensors:
            us = clock.us()
            for channel, raw, faults in sensor.poll(us):
                device.put(channel, us, raw, faults)
        time.sleep_ms(2)


def main() -> None:
    """Sample in one thread, send in this one; a watchdog begins anew should this one hang."""
    mass = Channel(
        0,
        "mass",
        BRIDGE_COUNTS,
        settings.LOAD_CELL_GRAMS_PER_COUNT,
        32,
        100_000,
        100_000,
        settings.RING_S,
        zero=settings.LOAD_CELL_ZERO,
    )
    cell = Hx711(
        machine.Pin(settings.LOAD_CELL_DATA, machine.Pin.IN),
        machine.Pin(settings.LOAD_CELL_CLOCK, machine.Pin.OUT, value=0),
        pulse,
        mass,
    )
    spi = machine.SPI(1, 2_000_000, sck=machine.Pin(settings.SPI_CLOCK), miso=machine.Pin(settings.SPI_DATA_IN))
    water, water_channels = probe(1, "water", spi, settings.WATER_SELECT)
    flame, flame_channels = probe(3, "flame", spi, settings.FLAME_SELECT)

    clock = Clock(time.ticks_us, time.ticks_diff, _thread.allocate_lock())
    boot = int.from_bytes(os.urandom(4), "little")
    flags = BROWN_OUT if machine.reset_cause() == getattr(machine, "BROWNOUT_RESET", -1) else 0
    channels = [mass]
    channels.extend(water_channels)
    channels.extend(flame_channels)
    device = Device(settings.DEVICE, FIRMWARE, boot, channels, FRAME_PERIOD_US, _thread.allocate_lock(), flags)
    link = MqttLink(
        network.WLAN(network.STA_IF),
        settings.WIFI_NETWORK,
        settings.WIFI_PASSWORD,
        settings.BROKER,
        settings.BROKER_PORT,
        settings.BENCH,
        settings.DEVICE,
        settings.BROKER_USER,
        settings.BROKER_PASSWORD,
    )
    sender = Sender(device, link)
    _thread.start_new_thread(sample, (device, [cell, water, flame], clock))
    watchdog = machine.WDT(timeout=120_000)
    while True:
        sender.step(clock.us())
        watchdog.feed()
        time.sleep_ms(10)


main()
