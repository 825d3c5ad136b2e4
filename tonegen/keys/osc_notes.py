"""Notes as OSC messages: one with its frequency when a note is struck, one when nothing holds it any more.

A synthesis server knows no pedals, so that what keys and pedals hold is followed here.
"""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Final

from tonegen.keys import midi, osc
from tonegen.keys.held import HeldKeys
from tonegen.keys.plan import Plan, osc_values
from tonegen.keys.receivers import Osc

if TYPE_CHECKING:
    from tonegen.keys.chords import ChordFollower

_FULL_VELOCITY: Final = 127


class OscNotes:
    """A player's notes to a receiver that is sent a message for each; what else he sends is not for it."""

    def __init__(self, made: Plan, send: Callable[[bytes], object]) -> None:
        """Silent. A receiver that is tuned by key or pitch class is sent no notes."""
        assert isinstance(made.receiver, Osc)
        self._receiver = made.receiver
        self._on, self._off = made.receiver.template, made.receiver.off_template
        self._plan = made
        self._send = send
        self._channels = tuple(HeldKeys() for _ in range(16))
        self._aims: dict[int, float] = {}  # of each note that sounds, by channel << 7 | key
        self._follower: ChordFollower | None = None
        self._others: tuple[tuple[int, float], ...] = ()

    def follow(self, follower: "ChordFollower | None") -> None:
        """Have each new note follow the chord, beginning with silence, or none; its master is the plan's."""
        self._follower = follower

    def led_by(self, tones: Sequence[tuple[int, float]]) -> None:
        """Key and offset of what others sound, from the next note on."""
        self._others = tuple(tones)

    @property
    def held_keys(self) -> frozenset[int]:
        """Keys that sound because a key or a pedal holds them."""
        return frozenset().union(*(channel.sounding for channel in self._channels))

    @property
    def rings_until(self) -> float:
        """Never: what rings has its own frequency."""
        return float("-inf")

    def retune(self, made: Plan) -> None:
        """Go on in another temperament; what sounds keeps its own."""
        self._plan = made
        if self._follower is not None:
            self._follower.retune(made.scale.key_cents.tolist())

    def receive(self, message: bytes, now: float) -> None:
        """One whole message of the player."""
        kind, number = message[0] & midi.KIND_BITS, message[0] & midi.CHANNEL_BITS
        if self._receiver.each != "note" or kind not in (midi.NOTE_ON, midi.NOTE_OFF, midi.CONTROL):
            return
        _, key_or_controller, value = message
        channel = self._channels[number]
        if kind == midi.CONTROL and key_or_controller == midi.ALL_SOUND_OFF:
            self._end(number, channel.silence(), now)
            return
        if kind == midi.CONTROL:
            channel.control(key_or_controller, value)
        elif kind == midi.NOTE_ON and value:
            if key_or_controller in channel.sounding:  # struck again: never twice at once
                self._end(number, {key_or_controller}, now)
            self._aims[number << 7 | key_or_controller] = self._aim(number, key_or_controller, now)
            self._send(self._filled(self._on, number, key_or_controller, value / _FULL_VELOCITY))
            channel.strike(key_or_controller)
        else:
            channel.release(key_or_controller)
        self._end(number, channel.let_go(), now)

    def start_over(self) -> None:
        """The receiver came back from nothing: no note sounds in it."""
        self._channels = tuple(HeldKeys() for _ in range(16))
        self._aims.clear()
        if self._follower is not None:
            self._follower.forget()

    def finish(self, now: float) -> None:
        """End every note, whatever holds it."""
        for number, channel in enumerate(self._channels):
            self._end(number, channel.silence(), now)

    def _aim(self, number: int, key: int, now: float) -> float:
        """What a new note is asked to hold: what was sent cannot move, so that it stays from now on."""
        if self._follower is None:
            return float(self._plan.aim_cents[key])
        voice = number << 7 | key
        cents = self._follower.strike(((voice, key),), now, self._others)[voice]
        self._follower.hold(voice)
        return self._plan.aim_of(key, cents)

    def _end(self, number: int, keys: set[int], now: float) -> None:
        for key in keys:
            if self._off is not None:
                self._send(self._filled(self._off, number, key, 0.0))
            self._aims.pop(number << 7 | key, None)
            if self._follower is not None:
                self._follower.release(number << 7 | key, now)

    def _filled(self, template: osc.Template, number: int, key: int, velocity: float) -> bytes:
        cents = self._aims[number << 7 | key]
        return osc.encode(template.fill(osc_values(key, cents, self._receiver, number + 1, velocity)))
