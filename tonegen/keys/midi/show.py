"""Messages that choose a song, and tell lights of one: MIDI Show Control, Song Select.

Sources: MIDI Show Control 1.0, RP-002, sections 3 and 4 (message, command formats, general commands, numbers
of cues as ASCII digits with a 00 between number, list and path), from memory; MIDI 1.0, Song Select.

The standard must not be relied on where anybody can be hurt; nothing that moves or burns is driven here.
"""

from dataclasses import dataclass
from enum import IntEnum
from typing import Final

from tonegen.errors import BadValue
from tonegen.keys.midi.status import ALL_DEVICES, END_OF_SYSEX, SONG_SELECT, SYSEX

_REAL_TIME: Final = 0x7F
_SHOW_SUB_ID: Final = 0x02
_HEADER_BYTES: Final = 6
# Command formats that are for us: sound in general, music, and all that there are. Others are for lights,
# machines, pictures and fire.
_SOUND, _MUSIC, _ALL_FORMATS = 0x10, 0x11, 0x7F
_LIGHTING: Final = 0x01
_OURS: Final = (_SOUND, _MUSIC, _ALL_FORMATS)


class ShowCommand(IntEnum):
    """The general commands of the standard that a set of songs can do."""

    GO = 0x01
    LOAD = 0x05
    ALL_OFF = 0x08
    RESTORE = 0x09


@dataclass(frozen=True, slots=True)
class ShowMessage:
    """A command to a device, and the number of its cue; None where it names none.

    device : 0 to 111, a group of devices from 112, or 127 for all.
    """

    device: int
    command: ShowCommand
    number: int | None = None


def is_show(message: bytes) -> bool:
    """Whether a whole system exclusive message is one of Show Control, well formed or not."""
    return len(message) > _HEADER_BYTES and message[0] == SYSEX and (
        message[1] == _REAL_TIME and message[3] == _SHOW_SUB_ID
    )  # fmt: skip


def is_show_for(message: bytes, device: int) -> bool:
    """Whether such a message is for a device; one that listens as 127 takes what is for anybody."""
    return ALL_DEVICES in (message[2], device) or message[2] == device


def parse_show(message: bytes) -> ShowMessage:
    """Read a message of Show Control. Its list and path of cues are passed over: a set is one list.

    Raises BadValue for what is no command to a set of songs, and why.

    >>> parse_show(bytes.fromhex("f0 7f 05 02 10 01 31 32 00 37 f7"))
    ShowMessage(device=5, command=<ShowCommand.GO: 1>, number=12)
    """
    if not is_show(message) or message[-1] != END_OF_SYSEX:
        raise BadValue(f"{message[:8].hex(' ')} is no message of Show Control")
    device, form, command = message[2], message[4], message[5]
    if form not in _OURS:
        raise BadValue(
            f"Show Control: format {form:02X} is not for sound; songs go by 10 (sound), 11 (music), 7F (all)"
        )
    if command not in [one.value for one in ShowCommand]:
        raise BadValue(
            f"Show Control: command {command:02X} is none of GO (01), LOAD (05), ALL_OFF (08), RESTORE (09)"
        )
    cue = message[_HEADER_BYTES:-1].split(b"\0")[0].decode("ascii", "replace")
    if not cue:
        return ShowMessage(device, ShowCommand(command))
    if not (cue.isdigit() and len(cue) < 6):
        raise BadValue(f"Show Control: {cue[:20]} is the number of no song; songs have whole numbers")
    return ShowMessage(device, ShowCommand(command), int(cue))


def show_go(device: int, number: int) -> bytes:
    """GO with a number, for the lights: command format 01, lighting.

    >>> show_go(5, 12).hex(" ")
    'f0 7f 05 02 01 01 31 32 f7'
    """
    cue = str(number).encode("ascii")
    header = (SYSEX, _REAL_TIME, device, _SHOW_SUB_ID, _LIGHTING, ShowCommand.GO)
    return bytes((*header, *cue, END_OF_SYSEX))


def parse_song_select(message: bytes) -> int | None:
    """The number of Song Select, counted from 1 as programs are shown; None for any other message.

    >>> parse_song_select(bytes.fromhex("f3 04"))
    5
    """
    return message[1] + 1 if len(message) == 2 and message[0] == SONG_SELECT else None
