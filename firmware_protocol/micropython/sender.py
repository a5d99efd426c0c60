"""The loop between the rings and the broker; the time is an argument, and the link may break whenever it likes."""

from device import Device

RETRY_US = 2_000_000
MOST_AT_ONCE = 4
"""Messages sent before the host's are looked at again."""


class Sender:
    """Keeps a device in touch with its host.

    `link` has `open()`, `close()`, `publish(topic, packet, retain)`, which returns when the broker has confirmed it,
    and `received()`, the packets that have come. All but `close` raise OSError when the link is broken.
    """

    def __init__(self, device: Device, link: object):
        self._device = device
        self._link = link
        self._is_open = False
        self._retry_us = 0

    def step(self, us: int) -> None:
        """Do what is due at `us`: connect, listen, send."""
        if not self._is_open and us < self._retry_us:
            return
        try:
            if not self._is_open:
                self._open(us)
            for packet in self._link.received():
                self._device.hear(packet, us)
            for _ in range(MOST_AT_ONCE):
                packet = self._device.next_packet(us)
                if packet is None:
                    break
                self._link.publish("up", packet, False)
        except OSError:
            self._is_open = False
            self._retry_us = us + RETRY_US
            self._link.close()

    def _open(self, us: int) -> None:
        self._link.open()
        self._is_open = True
        self._device.connected(us)
        self._link.publish("online", b"1", True)
        hello = self._device.hello(us)
        self._link.publish("up", hello, False)
        self._link.publish("hello", hello, True)
