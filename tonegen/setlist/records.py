"""What a set file says, as frozen records: receivers, controls and songs, by the names of presets.

A song says only what changes with it; where everything stands in it is worked out in `states`.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from tonegen.errors import BadValue
from tonegen.frozen import Frozen

ALL_KEYS: Final = (0, 127)
# Presses of one control that come faster than this are one press (common practice, no source).
USUAL_AGAIN_SECONDS: Final = 0.8


class Anchor(StrEnum):
    """Which note of a temperament stands at equal temperament, so that bass and keys agree on it."""

    ROOT = "root"
    A = "A"
    MEAN = "mean"  # none: the twelve offsets add up to nothing


class FollowKind(StrEnum):
    """What a receiver follows."""

    STEEL = "steel"
    TEMPERAMENT = "temperament"
    DUMP = "dump"


class Lead(StrEnum):
    """Who leads the keys of a receiver that follow the chord."""

    OFF = "off"  # they do not: each stands where its tuning has it
    BASS = "bass"  # the lowest note, at equal temperament
    SONG = "song"  # the song's own tuning
    STEEL = "steel"  # the steel's strings, in the state of its pedals


@dataclass(frozen=True, slots=True)
class Follows:
    """What a receiver follows: the steel, a temperament, or a file of tuning messages.

    name : of the temperament, or the path of the file; "" for the steel.
    root : pitch class that the temperament is built on; None for C. on_key : built on the song's key instead.
    """

    kind: FollowKind
    name: str = ""
    root: int | None = None
    on_key: bool = False


@dataclass(frozen=True, slots=True)
class SongSend:
    """What a song sends to a receiver besides its tuning: either a program change, or any bytes.

    program : 1 to 128 as players count; None for bytes. bank : its MSB and LSB; None to leave it.
    channel : 1 to 16; None for every channel of the receiver. other : MIDI messages as they are.
    row : which of the song's sends says so, from 0.
    """

    program: int | None = None
    bank: tuple[int, int] | None = None
    channel: int | None = None
    other: bytes = b""
    row: int = field(default=0, compare=False)


@dataclass(frozen=True, slots=True)
class SetReceiver:
    """A receiver of the rig.

    receiver : its preset. where : its door, as `keys.guard.open_door` takes it, "midi Piano", "virtual Piano"
        or "osc 127.0.0.1:9000".
    from_channels : those of the player's keyboard that it plays, 1 to 16; empty for all. from_keys : the
        lowest and the highest key of its zone. transpose : semitones that its notes are moved by.
    follows : what it follows until a song says another. lead : whom its notes follow as a chord.
    """

    name: str
    receiver: str
    where: str
    follows: Follows
    from_channels: tuple[int, ...] = ()
    from_keys: tuple[int, int] = ALL_KEYS
    transpose: int = 0
    lead: Lead = Lead.OFF

    def plays(self, channel: int, key: int) -> bool:
        """Whether a note of the player, on a channel from 1 to 16, is for this receiver."""
        low, high = self.from_keys
        return low <= key <= high and (not self.from_channels or channel in self.from_channels)


class ControlKind(StrEnum):
    """Which message of a foot board it is."""

    CONTROL = "control"
    NOTE = "note"
    PROGRAM = "program"
    SONG_SELECT = "song select"
    SHOW_CONTROL = "show control"


class Action(StrEnum):
    """What a control does."""

    NEXT = "next"
    PREVIOUS = "previous"
    NUMBER = "number"  # goes to the song of the number that comes with the message
    HOLD = "hold"  # nothing goes on until it is pressed again
    PANIC = "panic"
    MOVE = "move"  # a pedal or lever of the steel
    SHOW = "show"  # what the command of Show Control says: GO, LOAD, ALL_OFF


@dataclass(frozen=True, slots=True)
class SetControl:
    """One control of a foot board, or of the keyboard itself.

    from_port : the port that it comes in by, by name or part; "" for the keyboard that is played.
    number : of the controller or note, or the program that it must be, 1 to 128; None for any.
    channel : 1 to 16; None for any. change : the pedal or lever, where it moves one.
    device : of Show Control, 0 to 111, or 127 for all; None with everything else.
    """

    from_port: str
    kind: ControlKind
    action: Action
    number: int | None = None
    channel: int | None = None
    change: str = ""
    device: int | None = None


@dataclass(frozen=True, slots=True)
class SetLights:
    """Lights that are told of each song that is gone to, by GO of Show Control with its number.

    port : the MIDI output that they are at, by name or part. device : theirs, 0 to 111, or 127 for all.
    """

    port: str
    device: int


@dataclass(frozen=True, slots=True)
class SetSong(Frozen):
    """A song, with what is new in it; None, or a receiver not named, stays as it was.

    key : pitch class. minor : of that key. fret : of the bar; where an instrument is set, either gives the
    other.
    follows, sends : by the name of the receiver. grips : those that the steel's scale is made from; empty for
    all. line : to remember.
    """

    name: str
    number: int
    key: int | None = None
    fret: float | None = None
    follows: Mapping[str, Follows] = field(default_factory=dict)
    sends: Mapping[str, tuple[SongSend, ...]] = field(default_factory=dict)
    grips: tuple[str, ...] | None = None
    line: str = ""
    minor: bool = False


@dataclass(frozen=True, slots=True)
class SetList:
    """An evening: the rig, what the feet do, and the songs in their order.

    name : what it is found by. file : where it was read. instrument : "" for none.
    root : pitch class that the steel's temperament is built on; None for the instrument's own.
    lights : None where no lights are told. drop, reference_hz : None for what the temperament was made with.
    again_seconds : presses of one control that come faster are one. jumps_at_once : a number that is more
        than one song away is taken at its first coming, and need not come twice.
    """

    name: str
    title: str
    songs: tuple[SetSong, ...]
    receivers: tuple[SetReceiver, ...] = ()
    controls: tuple[SetControl, ...] = ()
    lights: SetLights | None = None
    instrument: str = ""
    temperament: str = "equal"
    root: int | None = None
    drop: str | None = None
    reference_hz: float | None = None
    anchor: Anchor = Anchor.ROOT
    again_seconds: float = USUAL_AGAIN_SECONDS
    jumps_at_once: bool = False
    file: str = ""

    def receiver(self, name: str) -> SetReceiver:
        """The receiver of that name. Raises BadValue naming those that there are."""
        for one in self.receivers:
            if one.name == name:
                return one
        known = ", ".join(one.name for one in self.receivers) or "none yet"
        raise BadValue(f'there is no receiver "{name[:60]}" in this set; there are: {known}')

    def place_of(self, number: int) -> int:
        """Where the song of that number stands in the set, from 0. Raises BadValue when there is none."""
        for place, song in enumerate(self.songs):
            if song.number == number:
                return place
        numbers = [song.number for song in self.songs]
        raise BadValue(f"there is no song {number}; songs go from {min(numbers)} to {max(numbers)}")
