"""Receivers: by which means a keyboard, sampler or synthesizer is tuned, and how exactly it follows.

A receiver is a TOML file in presets/receivers/, or the user's own. Its *means* says what it is sent:
a bend on a channel per pitch class, a bend per note, channel tuning, a message of the MIDI Tuning Standard,
or OSC. What every means has in common is in `Common`; the rest belongs to the means alone.
"""

from typing import Annotated, ClassVar, Final, Literal

from msgspec import Meta, field
from msgspec.structs import force_setattr

from tonegen.errors import BadValue
from tonegen.frozen import read_only
from tonegen.keys.midi import ALL_CHANNELS, END_OF_SYSEX, SYSEX
from tonegen.keys.osc import Template
from tonegen.pitch import checked_reference_hz
from tonegen.presets.files import Fields, locate, named, read
from tonegen.words import many

Channel = Annotated[int, Meta(ge=1, le=16)]
SevenBits = Annotated[int, Meta(ge=0, le=127)]
BendRange = Annotated[int, Meta(ge=1, le=96)]
OwnCents = Annotated[float, Meta(ge=-100, le=100)]
Seconds = Annotated[float, Meta(ge=0, le=60)]

# How long a released note may ring where the receiver's file does not say (common practice, no source).
USUAL_RELEASE_SECONDS: Final = 2.0


_PLAY_A_DUMP = "A dump takes long: keys through sends a change once nothing has sounded for a second."
_TWELVE = "Set the same sound on {}: one channel for each pitch class, from C."


class Common(Fields, kw_only=True):
    """What every receiver file may say.

    reference_hz : A4 of the receiver as its own master tuning is set.
    resolution_cents : the step of its own pitch; 0 for as fine as the message. rounding : "nearest", or
        "down" for one that cuts off.
    own_cents : how far it plays keys off equal temperament by itself, by MIDI key, as measured; others, 0.
    sysex_seconds : time that it needs after each system exclusive message, before the next.
    reset : further system exclusive messages, in hex, that put it back.
    """

    reference_hz: float = 440.0
    resolution_cents: Annotated[float, Meta(ge=0, le=100)] = 0.0
    rounding: Literal["nearest", "down"] = "nearest"
    own_cents: dict[str, OwnCents] = field(default_factory=dict)
    sysex_seconds: Seconds = 0.0
    reset: tuple[str, ...] = ()

    per: ClassVar[str] = "key"  # what has an offset of its own: "key" or "class"

    @property
    def retunes_notes(self) -> bool:
        """Whether each note must be retuned on its way, besides what is sent once."""
        return False

    @property
    def moves_what_sounds(self) -> bool:
        """Whether a change of tuning reaches notes that sound: whoever sends it must then see the notes."""
        return False

    def __post_init__(self) -> None:
        """Have its own offsets read-only."""
        force_setattr(self, "own_cents", read_only(self.own_cents))

    @property
    def own_by_key(self) -> dict[int, float]:
        """Its own offsets in cents by key. Raises BadValue for what is no key."""
        return {_key(text): cents for text, cents in self.own_cents.items()}

    @property
    def reset_messages(self) -> tuple[bytes, ...]:
        """The further messages of `reset`."""
        return tuple(_sysex(text) for text in self.reset)

    @property
    def midi_channels(self) -> tuple[int, ...]:
        """The channels that it listens to; none for OSC."""
        return ()

    @property
    def asks(self) -> tuple[str, ...]:
        """What the player sets at the receiver and knows about it, in sentences."""
        raise NotImplementedError

    def check(self) -> None:
        """Raises BadValue where fields do not fit each other."""
        checked_reference_hz(self.reference_hz)
        _ = self.reset_messages, self.own_by_key


class _Bending(Common, kw_only=True):
    """What receivers that follow a pitch bend have in common.

    bend_range_semitones : set by RPN 0; it holds the offset and the player's own wheel together.
    rest_bend_range_semitones : what it is set back to.
    wheel_range_semitones : of the keyboard that plays, until that says otherwise.
    bend_scale : how much of a bend it really makes; 1 unless it is known to fall short.
    untouched : channels whose notes pass as they are, such as drums.
    """

    bend_range_semitones: BendRange = 3
    rest_bend_range_semitones: BendRange = 2
    wheel_range_semitones: Annotated[int, Meta(ge=0, le=96)] = 2
    bend_scale: Annotated[float, Meta(gt=0.5, le=1.5)] = 1.0
    untouched: tuple[Channel, ...] = ()

    @property
    def retunes_notes(self) -> bool:
        """Each goes to a channel that is bent for it."""
        return True

    @property
    def _asks_for_range(self) -> str:
        return (
            f"RPN 0 sets its bend range to {many(self.bend_range_semitones, 'semitone')}; "
            "if it ignores that, set it by hand."
        )


class BendPerClass(_Bending, tag="bend per pitch class", tag_field="means"):
    """Twelve channels with one sound, each bent for its pitch class, C first."""

    per: ClassVar[str] = "class"
    channels: tuple[Channel, ...]

    @property
    def midi_channels(self) -> tuple[int, ...]:
        """The twelve."""
        return self.channels

    @property
    def asks(self) -> tuple[str, ...]:
        """One sound on twelve channels."""
        return (_TWELVE.format(_channels(self.channels)), self._asks_for_range)

    def check(self) -> None:
        """Twelve different channels."""
        super().check()
        _twelve(self.channels, self.untouched)


class BendPerNote(_Bending, tag="bend per note", tag_field="means"):
    """Each note on a channel of its own, in rotation; in an MPE zone when there is a manager.

    manager : 1 for a lower MPE zone, 16 for an upper one, none where the receiver knows no zones.
    untouched : as for all, and may be a member of a zone: it is then given no notes of others.
    release_seconds : how long a released note may ring, so that its channel keeps its bend.
    """

    channels: Annotated[tuple[Channel, ...], Meta(min_length=1)]
    manager: Literal[1, 16] | None = None
    release_seconds: Seconds = USUAL_RELEASE_SECONDS

    @property
    def midi_channels(self) -> tuple[int, ...]:
        """The manager, and the channels that notes take."""
        return (*((self.manager,) if self.manager else ()), *self.played)

    @property
    def played(self) -> tuple[int, ...]:
        """The channels that notes take."""
        return tuple(channel for channel in self.channels if channel not in self.untouched)

    @property
    def asks(self) -> tuple[str, ...]:
        """MPE, or one sound on each channel."""
        if self.manager is None:
            sound = _same_sound(self.channels)
        else:
            zone = f"{'lower' if self.manager == 1 else 'upper'} zone of {len(self.channels)}"
            sound = (
                f"Switch the receiver to MPE, {zone}; RPN 6 on channel {self.manager} asks for it as well."
            )
        return (sound, self._asks_for_range)

    def check(self) -> None:
        """Different channels; those of a zone stand next to its manager."""
        super().check()
        _distinct(self.channels)
        if not self.played:
            raise BadValue("untouched: at least one of the channels must be left to play on")
        if self.manager in self.channels:
            raise BadValue(f"manager: channel {self.manager} is among the members; take it out of channels")
        if self.manager is not None:
            step = 1 if self.manager == 1 else -1
            zone = tuple(self.manager + step * place for place in range(1, len(self.channels) + 1))
            if self.channels != zone:
                raise BadValue(
                    f"channels: a zone of {len(zone)} beside manager {self.manager} "
                    f"has the channels {', '.join(map(str, zone))}"
                )


class TuningPerClass(Common, tag="channel tuning", tag_field="means"):
    """Twelve channels with one sound, each tuned by channel tuning (RPN 1, 2), C first."""

    per: ClassVar[str] = "class"
    channels: tuple[Channel, ...]
    untouched: tuple[Channel, ...] = ()

    @property
    def midi_channels(self) -> tuple[int, ...]:
        """The twelve."""
        return self.channels

    @property
    def retunes_notes(self) -> bool:
        """Each goes to a channel that is tuned for it."""
        return True

    @property
    def asks(self) -> tuple[str, ...]:
        """One sound on twelve channels."""
        tuned = "It must take channel tuning (RPN 1 and 2)."
        return (_TWELVE.format(_channels(self.channels)), tuned)

    def check(self) -> None:
        """Twelve different channels."""
        super().check()
        _twelve(self.channels, self.untouched)


class _Table(Common, kw_only=True):
    """What receivers that are tuned by tables have in common: a change reaches notes that sound.

    release_seconds : how long a released note may ring, so that its key or class keeps its tune.
    """

    release_seconds: Seconds = USUAL_RELEASE_SECONDS

    @property
    def moves_what_sounds(self) -> bool:
        """As the standard has it for real-time changes; nothing is said of dumps."""
        return True

    @property
    def _asks_for_notes(self) -> str:
        return (
            "Retuning moves notes that sound: keys through sees them and leaves them alone, "
            "keys send does not."
        )


class KeyTuning(_Table, tag="key tuning", tag_field="means"):
    """A table of all keys, by the MIDI Tuning Standard: single note changes, or a bulk dump.

    message : "single note", or "dump". bank : left out, the messages without a bank are sent.
    programs : tuning programs that it keeps beside each other, from `program` on. A set stores its tunings in
        them beforehand, and goes from song to song by selecting one.
    select : channels that are told to use the program; all sixteen unless said.
    """

    message: Literal["single note", "dump"]
    program: SevenBits = 0
    bank: SevenBits | None = None
    programs: Annotated[int, Meta(ge=1, le=128)] = 1
    select: tuple[Channel, ...] = ALL_CHANNELS

    @property
    def midi_channels(self) -> tuple[int, ...]:
        """Those that use the program."""
        return self.select

    @property
    def asks(self) -> tuple[str, ...]:
        """System exclusive messages, and the program."""
        kind = {"single note": "single note changes", "dump": "bulk dumps"}[self.message]
        bank = "" if self.bank is None else f" of bank {self.bank}"
        return (
            f"The receiver must take the MIDI Tuning Standard's {kind}; let it receive system exclusive.",
            f"RPN 3 tells {_channels(self.select)} to use tuning program {self.program}{bank}; "
            "if it ignores that, choose it by hand.",
            self._asks_for_notes if self.message == "single note" else _PLAY_A_DUMP,
        )

    def check(self) -> None:
        """Different channels, and programs that there are."""
        super().check()
        _distinct(self.select)
        if self.program + self.programs > 128:
            raise BadValue(f"programs: from program {self.program} on there are {128 - self.program}")
        if self.programs > 1 and self.message != "dump":
            raise BadValue('programs: goes with message = "dump"; single notes are sent as they change')


class OctaveTuning(_Table, tag="octave tuning", tag_field="means"):
    """Twelve offsets for all octaves, by the MIDI Tuning Standard, in one byte each or in two.

    real_time : false sends the non-real-time form, which by the standard only new notes follow. Changes then
        go out while notes sound; so only for a receiver that is known to leave those alone.
    """

    per: ClassVar[str] = "class"
    bytes: Literal[1, 2] = 2
    real_time: bool = True
    channels: Annotated[tuple[Channel, ...], Meta(min_length=1)] = ALL_CHANNELS

    @property
    def moves_what_sounds(self) -> bool:
        """In the real-time form."""
        return self.real_time

    @property
    def midi_channels(self) -> tuple[int, ...]:
        """Those that are tuned."""
        return self.channels

    @property
    def asks(self) -> tuple[str, ...]:
        """System exclusive messages."""
        kind = f"scale/octave tuning in {('one byte', 'two bytes')[self.bytes - 1]}"
        return (
            f"The receiver must take the MIDI Tuning Standard's {kind}; let it receive system exclusive.",
            self._asks_for_notes
            if self.real_time
            else "It must leave notes alone that are already sounding.",
        )

    def check(self) -> None:
        """Different channels."""
        super().check()
        _distinct(self.channels)


class Osc(Common, tag="osc", tag_field="means"):
    """OSC messages: one for each key or pitch class when the tuning is sent, or one for each note played.

    address, arguments : what is sent; see `osc.Template` for what the braces may hold.
    off_address, off_arguments : what ends a note, where each note has its message.
    """

    each: Literal["key", "class", "note"]
    address: str
    arguments: tuple[str, ...]
    off_address: str = ""
    off_arguments: tuple[str, ...] = ()

    @property
    def template(self) -> Template:
        """What tunes, or plays a note."""
        return Template.parse(self.address, self.arguments)

    @property
    def off_template(self) -> Template | None:
        """What ends a note."""
        return Template.parse(self.off_address, self.off_arguments) if self.off_address else None

    @property
    def retunes_notes(self) -> bool:
        """Where each brings its frequency along."""
        return self.each == "note"

    @property
    def asks(self) -> tuple[str, ...]:
        """The addresses that it listens to."""
        addresses = " and ".join(filter(None, (self.address, self.off_address)))
        listens = f"The receiver must listen to {addresses}."
        if self.each != "note":
            return (listens,)
        return (listens, "It gets each note with its frequency as you play it, and nothing before.")

    def check(self) -> None:
        """Templates that can be filled in."""
        super().check()
        _ = self.template, self.off_template
        if (self.each == "note") != bool(self.off_address):
            raise BadValue('off_address: goes with each = "note", and with no other')


Receiver = BendPerClass | BendPerNote | TuningPerClass | KeyTuning | OctaveTuning | Osc


def receiver(name: str) -> Receiver:
    """The receiver of that name or file. Raises BadPreset naming the file and the field that is wrong."""
    path = locate("receivers", name)
    found: Receiver = read(path, Receiver)  # type: ignore[arg-type]
    with named(path, "file"):
        found.check()
    return found


def check_together(receivers: dict[str, Receiver]) -> None:
    """Raises BadValue when two receivers on one port listen to the same channel."""
    owners: dict[int, str] = {}
    for name, one in receivers.items():
        for channel in one.midi_channels:
            if channel in owners:
                raise BadValue(
                    f"{name} and {owners[channel]} are both on channel {channel}; give them separate channels"
                )
            owners[channel] = name


def _same_sound(channels: tuple[int, ...]) -> str:
    if len(channels) == 1:
        return f"Set a monophonic sound on {_channels(channels)}."
    return f"Set the same sound on {_channels(channels)}."


def _channels(channels: tuple[int, ...]) -> str:
    """Channels as they are said: "channels 1 to 9 and 11 to 13"."""
    runs: list[list[int]] = []
    for channel in sorted(channels):
        if runs and channel == runs[-1][-1] + 1:
            runs[-1].append(channel)
        else:
            runs.append([channel])
    said = [str(run[0]) if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs]
    return f"channel{'s' if len(channels) > 1 else ''} {' and '.join(said)}"


def _distinct(channels: tuple[int, ...], untouched: tuple[int, ...] = ()) -> None:
    for place, channel in enumerate(channels):
        if channel in channels[:place]:
            raise BadValue(f"channels: {channel} is listed twice")
        if channel in untouched:
            raise BadValue(f"untouched: channel {channel} is among the channels that are tuned")


def _twelve(channels: tuple[int, ...], untouched: tuple[int, ...]) -> None:
    _distinct(channels, untouched)
    if len(channels) != 12:
        raise BadValue(f"channels: twelve are needed, one for each pitch class; {len(channels)} given")


def _key(text: str) -> int:
    if not (text.isascii() and text.isdigit() and str(int(text)) == text and int(text) < 128):
        raise BadValue(f'own_cents: "{text}" is not a MIDI key; they are numbered 0 to 127, and C4 is 60')
    return int(text)


def _sysex(text: str) -> bytes:
    try:
        message = bytes.fromhex(text)
    except ValueError:
        message = b""
    if len(message) < 3 or message[0] != SYSEX or message[-1] != END_OF_SYSEX or max(message[1:-1]) > 0x7F:
        raise BadValue(
            f'reset: "{text}" is not a system exclusive message; write hex such as "F0 7E 7F 09 01 F7"'
        )
    return message
