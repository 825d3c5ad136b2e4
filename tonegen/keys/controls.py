"""The controls of a set in what comes from a port: which message is a press of which control.

A press of a controller is a value from 64 on, of a note its note-on; what lets go of it is taken as well, and
nothing of either reaches the sound.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from tonegen.keys import midi
from tonegen.setlist.records import Action, ControlKind, SetControl

_PRESSED_FROM: Final = 64  # as switches are read by MIDI 1.0, table III
_KIND_STATUS: Final = {
    ControlKind.CONTROL: (midi.CONTROL,),
    ControlKind.NOTE: (midi.NOTE_ON, midi.NOTE_OFF, midi.KEY_PRESSURE),
    ControlKind.PROGRAM: (midi.PROGRAM,),
}


@dataclass(frozen=True, slots=True)
class Pressed:
    """A control that was pressed or moved.

    number : that of the song, where the message names one. show : the command of Show Control.
    travel : of a pedal or lever of the steel, 0 to 1.
    """

    control: SetControl
    number: int | None = None
    show: midi.ShowCommand | None = None
    travel: float | None = None


class Controls:
    """Knows the controls of a set by port and message."""

    def __init__(self, controls: Sequence[SetControl]) -> None:
        """Take those of the set."""
        self._by_bytes: dict[tuple[str, int, int], SetControl] = {}
        self._by_system: dict[tuple[str, ControlKind], list[SetControl]] = {}
        for one in controls:
            if one.kind in (ControlKind.SONG_SELECT, ControlKind.SHOW_CONTROL):
                self._by_system.setdefault((one.from_port, one.kind), []).append(one)
                continue
            first = one.kind is ControlKind.PROGRAM  # programs are shown from 1
            numbers = range(128) if one.number is None else (one.number - first,)
            for channel in midi.ALL_CHANNELS if one.channel is None else (one.channel,):
                for status in _KIND_STATUS[one.kind]:
                    for number in numbers:
                        self._by_bytes[one.from_port, status | midi.nibble(channel), number] = one

    def taken(self, port: str, message: bytes) -> tuple[bool, Pressed | None]:
        """Whether a whole message belongs to a control, and the press where it is one.

        port : by the name that the set gives it; "" for the keyboard. Raises BadValue for what is meant for
        us and makes no sense.
        """
        if message[0] >= midi.SYSTEM:
            return self._taken_of_system(port, message)
        control = self._by_bytes.get((port, message[0], message[1]))
        return (False, None) if control is None else (True, _pressed(control, message))

    def _taken_of_system(self, port: str, message: bytes) -> tuple[bool, Pressed | None]:
        if message[0] == midi.SONG_SELECT:
            for control in self._by_system.get((port, ControlKind.SONG_SELECT), ()):
                return True, Pressed(control, midi.parse_song_select(message))
        elif midi.is_show(message):
            controls = self._by_system.get((port, ControlKind.SHOW_CONTROL), ())
            for control in controls:
                assert control.device is not None
                if midi.is_show_for(message, control.device):
                    show = midi.parse_show(message)
                    return True, Pressed(control, show.number, show.command)
            return bool(controls), None
        return False, None


def _pressed(control: SetControl, message: bytes) -> Pressed | None:
    """The press; None for what lets go of it."""
    kind = message[0] & midi.KIND_BITS
    if control.action is Action.MOVE:
        return Pressed(control, travel=message[2] / 127)
    if kind == midi.PROGRAM:
        return Pressed(control, message[1] + 1 if control.number is None else None)
    down = message[2] >= _PRESSED_FROM if kind == midi.CONTROL else kind == midi.NOTE_ON and message[2] > 0
    return Pressed(control) if down else None


def control_fields(message: bytes, does: str) -> dict[str, str | int] | None:
    """The row of a set's file for a press that is to do this; None for what is no press, or cannot do it.

    does : next, previous, number, hold or panic; or the pedal or lever of the steel that it moves.

    >>> control_fields(bytes.fromhex("b0 50 7f"), "next")
    {'on': 'control 80', 'channel': 1, 'does': 'next'}
    """
    if message[0] >= midi.SYSTEM:
        chooses = does == Action.NUMBER and midi.parse_song_select(message) is not None
        return {"on": "song select"} if chooses else None
    kind, channel = message[0] & midi.KIND_BITS, (message[0] & midi.CHANNEL_BITS) + 1
    action = {"does": does} if does in {*Action} else {"moves": does}
    if kind == midi.PROGRAM:
        number = "" if does == Action.NUMBER else f" {message[1] + 1}"
        return {"on": f"program{number}", "channel": channel, **action}
    if does == Action.NUMBER:
        return None
    if kind == midi.CONTROL and message[1] < midi.ALL_SOUND_OFF and message[2] >= _PRESSED_FROM:
        return {"on": f"control {message[1]}", "channel": channel, **action}
    if kind == midi.NOTE_ON and message[2]:
        return {"on": f"note {message[1]}", "channel": channel, **action}
    return None
