"""The way to a receiver, and when it is free again: nothing that goes out between notes may make one wait.

Times are seconds of any steady clock, given by whoever calls.
"""

from collections.abc import Callable

from tonegen.keys import midi


class Cable:
    """Hands messages on, and reckons when the last of them has arrived.

    free_at : when the way is free. seconds_per_byte : how long it takes a byte; a MIDI cable unless said.
    Receivers at one port have one cable.
    """

    __slots__ = ("_seconds_per_byte", "_send", "free_at")

    def __init__(
        self, send: Callable[[bytes], object], seconds_per_byte: float = midi.SECONDS_PER_BYTE
    ) -> None:
        """Nothing is under way."""
        self._send = send
        self._seconds_per_byte = seconds_per_byte
        self.free_at = float("-inf")

    def carry(self, message: bytes, now: float) -> None:
        """Hand one message over."""
        self._send(message)
        self.free_at = max(self.free_at, now) + len(message) * self._seconds_per_byte
