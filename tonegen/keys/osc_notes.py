"""Notes as OSC messages: one with its frequency when a note is struck, one when nothing holds it any more.

A synthesis server knows no pedals, so that what keys and pedals hold is followed here.
"""

from collections.abc import Callable
from typing import Final

from tonegen.keys import messages as midi
from tonegen.keys import osc
from tonegen.keys.plan import Plan, osc_values
from tonegen.keys.receivers import Osc

_FULL_VELOCITY: Final = 127


class _Channel:
    """What keys and pedals hold on one channel of the player."""

    def __init__(self) -> None:
        self.sounding: set[int] = set()  # keys, as in those below
        self._down: set[int] = set()
        self._caught: set[int] = set()  # by the sostenuto pedal
        self._sustain = self._sostenuto = False

    def strike(self, key: int) -> None:
        self._down.add(key)
        self.sounding.add(key)

    def release(self, key: int) -> None:
        self._down.discard(key)

    def control(self, controller: int, value: int) -> None:
        """A pedal moves, or a mode message lets go of notes; any other controller is none of ours."""
        down = value >= 64
        if controller == midi.SUSTAIN:
            self._sustain = down
        elif controller == midi.SOSTENUTO and down != self._sostenuto:
            self._sostenuto = down
            self._caught = set(self.sounding) if down else set()
        elif controller == midi.RESET_CONTROLLERS:
            self._sustain = self._sostenuto = False
            self._caught.clear()
        elif controller >= midi.ALL_NOTES_OFF:
            self._down.clear()

    def let_go(self) -> set[int]:
        """The keys that nothing holds any more; they are silent from now on."""
        if self._sustain:
            return set()
        ended = self.sounding - self._down - self._caught
        self.sounding -= ended
        return ended

    def silence(self) -> set[int]:
        """All keys that sound; they are silent from now on, whatever holds them."""
        ended = self.sounding
        self.sounding, self._down, self._caught = set(), set(), set()
        return ended


class OscNotes:
    """A player's notes to a receiver that is sent a message for each; what else he sends is not for it."""

    def __init__(self, made: Plan, send: Callable[[bytes], object]) -> None:
        """Silent. A receiver that is tuned by key or pitch class is sent no notes."""
        assert isinstance(made.receiver, Osc)
        self._receiver = made.receiver
        self._on, self._off = made.receiver.template, made.receiver.off_template
        self._aim_cents = made.aim_cents
        self._send = send
        self._channels = tuple(_Channel() for _ in range(16))

    def retune(self, made: Plan) -> None:
        """Go on in another temperament; what sounds keeps its own."""
        self._aim_cents = made.aim_cents

    def receive(self, message: bytes, now: float) -> None:
        """One whole message of the player."""
        kind, number = message[0] & 0xF0, message[0] & 0x0F
        if self._receiver.each != "note" or kind not in (midi.NOTE_ON, midi.NOTE_OFF, midi.CONTROL):
            return
        _, key_or_controller, value = message
        channel = self._channels[number]
        if kind == midi.CONTROL and key_or_controller == midi.ALL_SOUND_OFF:
            self._end(number, channel.silence())
            return
        if kind == midi.CONTROL:
            channel.control(key_or_controller, value)
        elif kind == midi.NOTE_ON and value:
            if key_or_controller in channel.sounding:  # struck again: never twice at once
                self._end(number, {key_or_controller})
            self._send(self._filled(self._on, number, key_or_controller, value / _FULL_VELOCITY))
            channel.strike(key_or_controller)
        else:
            channel.release(key_or_controller)
        self._end(number, channel.let_go())

    def finish(self) -> None:
        """End every note, whatever holds it."""
        for number, channel in enumerate(self._channels):
            self._end(number, channel.silence())

    def _end(self, number: int, keys: set[int]) -> None:
        if self._off is not None:
            for key in keys:
                self._send(self._filled(self._off, number, key, 0.0))

    def _filled(self, template: osc.Template, number: int, key: int, velocity: float) -> bytes:
        cents = float(self._aim_cents[key])
        return osc.encode(template.fill(osc_values(key, cents, self._receiver, number + 1, velocity)))
