"""The link on MicroPython, over a client and a Wi-Fi that are made up: a line of JSON for what is done to them."""

import json

import mqtt_link
import umqtt.simple as client
from mqtt_link import MqttLink


class Time:
    """A clock that goes on as it is slept."""

    def __init__(self):
        self.now_ms = 0

    def ticks_ms(self) -> int:
        return self.now_ms

    def ticks_diff(self, new: int, old: int) -> int:
        return new - old

    def sleep_ms(self, ms: int) -> None:
        self.now_ms += ms


class Wifi:
    """A network that is joined 200 ms after it is asked for, or never."""

    def __init__(self, clock: Time):
        self.answers = True
        self._clock = clock
        self._since_ms = None

    def isconnected(self) -> bool:
        return self.answers and self._since_ms is not None and self._clock.now_ms >= self._since_ms + 200

    def active(self, on: bool) -> None:
        client.tell("wifi", on)

    def connect(self, network: str, password: str) -> None:
        client.tell("join", network, password)
        self._since_ms = self._clock.now_ms

    def disconnect(self) -> None:
        client.tell("leave", self._clock.now_ms)
        self._since_ms = None


def attempt(do, *what) -> None:
    """Do something and tell what comes of it."""
    try:
        result = do(*what)
    except OSError as broken:
        client.tell("OSError", str(broken))
    else:
        if result is not None:
            client.tell("received", [packet.decode() for packet in result])


time = mqtt_link.time = Time()
wifi = Wifi(time)
link = MqttLink(wifi, "net", "secret", "broker.local", 1883, "shed", "esp-1", None, None)
errors = {"MQTTException": client.MQTTException, "OSError": OSError, "IndexError": IndexError}
with open("/data.json") as file:  # noqa: PTH123 a board has no pathlib
    for do, *what in json.load(file):
        if do == "fails":
            client.failures[what[0]] = errors[what[1]](what[2])
        elif do == "comes":
            client.inbox.extend([packet.encode() for packet in what])
        elif do == "wifi":
            wifi.answers = what[0]
        elif do == "publish":
            attempt(link.publish, what[0], what[1].encode(), what[2])
        else:
            attempt(getattr(link, do))
