"""Tuning in MIDI 1.0 bytes: from cents to messages, and back.

Conventions: a *channel* is 1 to 16, as players count. *Cents* are offsets from equal temperament at
A4 = 440 Hz, of a channel or of a key. A field of so many bits holds whole steps only; what rounding lost
comes back as `left_cents`, which is asked minus sent, at most half a step inside the field's range.

Sources: MIDI 1.0 Detailed Specification 4.2.1 (pitch bend, registered parameters); MIDI Tuning (Updated
Specification), with CA-020 and CA-021/RP-020; MIDI Polyphonic Expression 1.1, M1-100-UM.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonegen.errors import BadValue
from tonegen.frozen import Frozen

NOTE_OFF: Final = 0x80
NOTE_ON: Final = 0x90
KEY_PRESSURE: Final = 0xA0
CONTROL: Final = 0xB0
PROGRAM: Final = 0xC0
PRESSURE: Final = 0xD0
BEND: Final = 0xE0
SYSEX: Final = 0xF0
END_OF_SYSEX: Final = 0xF7
RESET: Final = 0xFF

DATA_MSB: Final = 6
DATA_LSB: Final = 38
SUSTAIN: Final = 64
SOSTENUTO: Final = 66
DATA_INCREMENT: Final = 96
DATA_DECREMENT: Final = 97
NRPN_LSB: Final = 98
NRPN_MSB: Final = 99
RPN_LSB: Final = 100
RPN_MSB: Final = 101
ALL_SOUND_OFF: Final = 120
RESET_CONTROLLERS: Final = 121
ALL_NOTES_OFF: Final = 123

# Registered parameters: MIDI 1.0 table IIIa; MPE 1.1 for the last one.
BEND_RANGE: Final = 0
FINE_TUNING: Final = 1
COARSE_TUNING: Final = 2
TUNING_PROGRAM: Final = 3
TUNING_BANK: Final = 4
MPE_CONFIGURATION: Final = 6

USUAL_BEND_RANGE_SEMITONES: Final = 2  # the General MIDI 2 default
ALL_CHANNELS: Final = tuple(range(1, 17))
ALL_DEVICES: Final = 0x7F
# A cable carries 31250 baud, ten bits to the byte; no receiver needs to be sent more slowly.
SECONDS_PER_BYTE: Final = 0.00032


@dataclass(frozen=True, slots=True)
class Steps:
    """The whole steps that a data field holds, 0 to `highest`; `centre` stands for no offset."""

    step_cents: float
    centre: int
    highest: int

    def nearest(self, cents: ArrayLike) -> NDArray[np.int64]:
        """The step nearest to `cents`; the field's end where they lie beyond it."""
        steps = np.rint(np.asarray(cents, dtype=np.float64) / self.step_cents) + self.centre
        return np.asarray(np.clip(steps, 0, self.highest), dtype=np.int64)

    def cents(self, steps: ArrayLike) -> NDArray[np.float64]:
        """What `steps` stand for."""
        return (np.asarray(steps, dtype=np.float64) - self.centre) * self.step_cents

    def checked(
        self, cents: ArrayLike, what: str, cure: str
    ) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
        """The nearest steps and the cents left. Raises BadValue when the field cannot hold `cents`.

        A field with a step in its centre ends one step short above; full up is taken as that last step,
        as the MPE standard has it.
        """
        asked = np.asarray(cents, dtype=np.float64)
        lowest = -(self.centre + 0.5) * self.step_cents
        highest = (self.highest - self.centre + 1) * self.step_cents
        wrong = ~((asked >= lowest) & (asked <= highest))  # true for NaN as well
        if wrong.any():
            first = np.atleast_1d(asked)[np.atleast_1d(wrong)][0]
            raise BadValue(f"{what} cannot hold {first:.6g} cents; {cure}")
        steps = self.nearest(asked)
        return steps, asked - self.cents(steps)


def bend_steps(range_semitones: float) -> Steps:
    """Steps of a pitch bend whose full travel is `range_semitones` each way.

    Raises BadValue for a range outside 1 to 96 semitones.

    >>> bend_steps(2).step_cents
    0.0244140625
    """
    if not 1 <= range_semitones <= 96:
        raise BadValue(f"bend range {range_semitones:g} is out of range; give 1 to 96 semitones")
    return Steps(100 * range_semitones / 8192, 8192, 16383)


FINE_STEPS: Final = Steps(100 / 8192, 8192, 16383)
COARSE_STEPS: Final = Steps(100, 64, 127)
OCTAVE_STEPS: Final = Steps(1, 64, 127)
FINE_OCTAVE_STEPS: Final = Steps(100 / 8192, 8192, 16383)
# Cents above key 0, not an offset. The highest word, 7F 7F 7F, means "leave this key as it is".
KEY_STEPS: Final = Steps(100 / 16384, 0, (1 << 21) - 2)
NO_CHANGE: Final = (1 << 21) - 1


@dataclass(frozen=True, slots=True)
class Encoded(Frozen):
    """Messages, and for each value that they carry the cents that rounding left: asked minus sent."""

    messages: tuple[bytes, ...]
    left_cents: NDArray[np.float64]


# -- pitch bend and registered parameters ----------------------------------------------------------------


def bend(channel: int, cents: float, range_semitones: float = USUAL_BEND_RANGE_SEMITONES) -> Encoded:
    """A pitch bend, least significant byte first.

    Raises BadValue when the range is too small for `cents`.

    >>> bend(1, -13.7, 2).messages[0].hex(" ")
    'e0 4f 3b'
    """
    cure = "raise bend_range_semitones of the receiver"
    what = f"a bend range of {range_semitones:g} semitones"
    value, left = bend_steps(range_semitones).checked(cents, what, cure)
    return Encoded((bend_message(channel, int(value)),), left)


def bend_message(channel: int, value: int) -> bytes:
    """A pitch bend from its value, 0 to 16383."""
    return bytes((BEND | _nibble(channel), value & 0x7F, value >> 7))


def parse_bend(message: bytes, range_semitones: float = USUAL_BEND_RANGE_SEMITONES) -> tuple[int, float]:
    """Channel and cents of a pitch bend. Raises BadValue for any other message."""
    if len(message) != 3 or message[0] & 0xF0 != BEND or max(message[1:]) > 0x7F:
        raise BadValue(f"{message[:8].hex(' ')} is not a pitch bend")
    value = message[2] << 7 | message[1]
    return (message[0] & 0x0F) + 1, float(bend_steps(range_semitones).cents(value))


def control(channel: int, controller: int, value: int) -> bytes:
    """A control change."""
    return bytes((CONTROL | _nibble(channel), controller, value))


def parameter(channel: int, number: int, msb: int, lsb: int | None = None) -> tuple[bytes, ...]:
    """Set a registered parameter, then select none, so that a later data entry cannot change it.

    The standard lets a receiver clear the LSB when the MSB arrives; some receivers act on the MSB alone.
    LSB, MSB, LSB is right for both.
    """
    fine = () if lsb is None else (control(channel, DATA_LSB, lsb),)
    return (
        control(channel, RPN_MSB, 0),
        control(channel, RPN_LSB, number),
        *fine,
        control(channel, DATA_MSB, msb),
        *fine,
        control(channel, RPN_MSB, 0x7F),
        control(channel, RPN_LSB, 0x7F),
    )


def bend_range(channel: int, semitones: int) -> tuple[bytes, ...]:
    """Set the bend range, 1 to 96 whole semitones (RPN 0). Raises BadValue outside that."""
    bend_steps(semitones)
    return parameter(channel, BEND_RANGE, semitones, 0)


def fine_tuning(channel: int, cents: float) -> Encoded:
    """Channel fine tuning, -100 to 99.988 cents (RPN 1). Raises BadValue outside that."""
    value, left = FINE_STEPS.checked(cents, "channel fine tuning", "add coarse tuning, or retune the keys")
    return Encoded(parameter(channel, FINE_TUNING, int(value) >> 7, int(value) & 0x7F), left)


def coarse_tuning(channel: int, semitones: int) -> tuple[bytes, ...]:
    """Channel coarse tuning, -64 to 63 semitones (RPN 2). Raises BadValue outside that."""
    if not -64 <= semitones <= 63:
        raise BadValue(f"channel coarse tuning {semitones} is out of range; give -64 to 63 semitones")
    return parameter(channel, COARSE_TUNING, 64 + semitones)


def channel_tuning(channel: int, cents: float) -> Encoded:
    """Coarse and fine tuning together, for offsets of any size. Raises BadValue beyond the coarse range."""
    semitones = round(cents / 100)
    fine = fine_tuning(channel, cents - 100 * semitones)
    return Encoded(coarse_tuning(channel, semitones) + fine.messages, fine.left_cents)


def tuning_select(channel: int, program: int, bank: int = 0) -> tuple[bytes, ...]:
    """Let a channel use a tuning program of a tuning bank, both 0 to 127 (RPN 4, RPN 3)."""
    bank, program = _seven_bits(bank, "tuning bank"), _seven_bits(program, "tuning program")
    return parameter(channel, TUNING_BANK, bank) + parameter(channel, TUNING_PROGRAM, program)


def mpe_zone(members: int, upper: bool = False) -> tuple[bytes, ...]:
    """MPE configuration: a zone of `members` channels beside its manager, 1 or 16; 0 closes it (RPN 6).

    The receiver then sets the bend range of members to 48 semitones and stops all notes.
    """
    if not 0 <= members <= 15:
        raise BadValue(f"an MPE zone of {members} members does not exist; give 0 to 15")
    return parameter(16 if upper else 1, MPE_CONFIGURATION, members)


def notes_off(channels: Iterable[int]) -> tuple[bytes, ...]:
    """Pedals up, notes and sound off."""
    silence = ((SUSTAIN, 0), (SOSTENUTO, 0), (ALL_NOTES_OFF, 0), (ALL_SOUND_OFF, 0))
    return tuple(control(channel, controller, value) for channel in channels for controller, value in silence)


class ParameterReader:
    """Registered parameters, read back from one channel's control changes as they come.

    The standard's rules: the selection sticks; an MSB clears its LSB; a lone LSB is a fine adjustment;
    a non-registered number deselects.

    >>> reader = ParameterReader()
    >>> [entry for message in bend_range(1, 12) if (entry := reader.read(message[1], message[2]))][-1]
    (0, 12, 0)
    """

    __slots__ = ("_data", "number_lsb", "number_msb")

    CONTROLLERS: Final = frozenset((6, 38, 96, 97, 98, 99, 100, 101))

    def __init__(self) -> None:
        """Nothing selected."""
        self.number_msb = self.number_lsb = 0x7F
        self._data: dict[int, int] = {}

    @property
    def number(self) -> int | None:
        """The parameter that is selected."""
        return self.number_lsb if self.number_msb == 0 and self.number_lsb != 0x7F else None

    def read(self, controller: int, value: int) -> tuple[int, int, int] | None:
        """Number, MSB and LSB of the parameter that this control change sets; None when it sets none."""
        if controller == RPN_MSB:
            self.number_msb = value
        elif controller == RPN_LSB:
            self.number_lsb = value
        elif controller in (NRPN_MSB, NRPN_LSB):
            self.number_msb = self.number_lsb = 0x7F
        elif controller in self.CONTROLLERS and (number := self.number) is not None:
            before = self._data.get(number, 0)
            if controller == DATA_MSB:
                data = value << 7
            elif controller == DATA_LSB:
                data = before & ~0x7F | value
            else:  # increment, decrement: of the MSB for bend range (CA, RP-018), of the LSB for tuning
                step = (128 if number != FINE_TUNING else 1) * (1 if controller == DATA_INCREMENT else -1)
                data = min(max(before + step, 0), 0x3FFF)
            self._data[number] = data
            return number, data >> 7, data & 0x7F
        return None


# -- the MIDI Tuning Standard ----------------------------------------------------------------------------

_HEADER: Final = {False: 0x7E, True: 0x7F}
_TUNING_SUB_ID: Final = 0x08


@dataclass(frozen=True, slots=True)
class Form:
    """One row of the standard's messages: what stands between its sub-id and F7."""

    sub_id: int
    name: str
    headers: str  # "N" non-real-time, "R" real-time, "NR" either
    fields: tuple[str, ...]
    steps: Steps | None = None
    value_bytes: int = 0
    values: int = 0  # 0: as many as the count field says, each with its key before it
    checksum: bool = False


FORMS: Final = (
    Form(0x00, "bulk dump request", "N", ("program",)),
    Form(0x01, "bulk dump", "N", ("program", "name"), KEY_STEPS, 3, 128, checksum=True),
    Form(0x02, "single note change", "R", ("program", "count"), KEY_STEPS, 3),
    Form(0x03, "bank dump request", "N", ("bank", "program")),
    Form(0x04, "key-based dump", "N", ("bank", "program", "name"), KEY_STEPS, 3, 128, checksum=True),
    Form(0x05, "octave dump", "N", ("bank", "program", "name"), OCTAVE_STEPS, 1, 12, checksum=True),
    Form(0x06, "fine octave dump", "N", ("bank", "program", "name"), FINE_OCTAVE_STEPS, 2, 12, checksum=True),
    Form(0x07, "bank note change", "NR", ("bank", "program", "count"), KEY_STEPS, 3),
    Form(0x08, "octave tuning", "NR", ("channels",), OCTAVE_STEPS, 1, 12),
    Form(0x09, "fine octave tuning", "NR", ("channels",), FINE_OCTAVE_STEPS, 2, 12),
)
_FORM: Final = {form.sub_id: form for form in FORMS}
_FIELD_BYTES: Final = {"program": 1, "bank": 1, "count": 1, "channels": 3, "name": 16}


@dataclass(frozen=True, slots=True)
class Tuning:
    """A message of the tuning standard, read. `offset_cents` is NaN where a key is to stay as it is."""

    form: Form
    real_time: bool
    device: int
    keys: tuple[int, ...]  # keys; pitch classes in the octave forms
    offset_cents: tuple[float, ...]
    program: int = 0
    bank: int = 0
    channels: tuple[int, ...] = ()
    name: str = ""
    checksum_agrees: bool = True  # the standard lets receivers ignore it, and makers differ


def note_changes(
    keys: ArrayLike,
    offset_cents: ArrayLike,
    program: int = 0,
    bank: int | None = None,
    real_time: bool = True,
) -> Encoded:
    """Single note tuning changes, up to 127 keys in each message; with a bank when one is given.

    Without a bank the standard has the real-time form only, which sounding notes follow.
    Keys that would lie beyond the standard's range (8.18 to 13289 Hz) stop at its end; see `left_cents`.
    Raises BadValue for real_time=False without a bank.

    >>> note_changes([69, 60], [0, 0]).messages[0].hex(" ")
    'f0 7f 7f 08 02 00 02 45 45 00 00 3c 3c 00 00 f7'
    """
    if bank is None and not real_time:
        raise BadValue("a single note change without a bank is always real-time; give a tuning bank")
    changed, words, left = _key_words(keys, offset_cents)
    messages = [
        note_change(changed[start : start + 127], words[start : start + 127], program, bank, real_time)
        for start in range(0, len(changed), 127)
    ]
    return Encoded(tuple(messages), left)


def key_words(offset_cents: ArrayLike) -> tuple[int, ...]:
    """The frequency words of the 128 keys, as whole numbers: keys whose words are equal are tuned alike."""
    return tuple(_key_words(np.arange(128), _sized(offset_cents, 128))[1])


def note_change(
    keys: Sequence[int],
    words: Sequence[int],
    program: int = 0,
    bank: int | None = None,
    real_time: bool = True,
) -> bytes:
    """One single note change of up to 127 keys with their frequency words: quick, for a note's way."""
    return _message(_FORM[0x02 if bank is None else 0x07], real_time, keys, words, program, bank or 0)


def key_dump(offset_cents: ArrayLike, name: str, program: int = 0, bank: int | None = None) -> Encoded:
    """A bulk dump of all 128 keys; with a bank when one is given. NaN leaves a key as it is."""
    form = _FORM[0x01 if bank is None else 0x04]
    keys, words, left = _key_words(np.arange(128), _sized(offset_cents, 128))
    return Encoded((_message(form, False, keys, words, program, bank or 0, name=name),), left)


def octave_tuning(
    offset_cents: ArrayLike,
    channels: Iterable[int] = ALL_CHANNELS,
    two_bytes: bool = True,
    real_time: bool = True,
) -> Encoded:
    """Scale/octave tuning of the pitch classes C to B on the named channels.

    Raises BadValue for offsets beyond -64 to 63 cents (one byte) or -100 to 99.988 (two bytes).

    >>> octave_tuning([0] * 12, channels=[1], two_bytes=False).messages[0].hex(" ")
    'f0 7f 7f 08 08 00 00 01 40 40 40 40 40 40 40 40 40 40 40 40 f7'
    """
    words, left = _octave_words(_octave_form(two_bytes), offset_cents)
    return Encoded((octave_change(words, channels, two_bytes, real_time),), left)


def octave_words(offset_cents: ArrayLike, two_bytes: bool = True) -> tuple[int, ...]:
    """The steps of the pitch classes C to B, as whole numbers. Raises BadValue as `octave_tuning` does."""
    return tuple(_octave_words(_octave_form(two_bytes), offset_cents)[0])


def octave_change(
    words: Sequence[int],
    channels: Iterable[int] = ALL_CHANNELS,
    two_bytes: bool = True,
    real_time: bool = True,
) -> bytes:
    """Scale/octave tuning from its twelve steps: quick, for a note's way."""
    return _message(_octave_form(two_bytes), real_time, range(12), words, channels=tuple(channels))


def _octave_form(two_bytes: bool) -> Form:
    return _FORM[0x09 if two_bytes else 0x08]


def octave_dump(
    offset_cents: ArrayLike, name: str, program: int = 0, bank: int = 0, two_bytes: bool = True
) -> Encoded:
    """A dump of a scale/octave tuning, C to B."""
    form = _FORM[0x06 if two_bytes else 0x05]
    words, left = _octave_words(form, offset_cents)
    return Encoded((_message(form, False, range(12), words, program, bank, name=name),), left)


def dump_request(program: int, bank: int | None = None) -> bytes:
    """Ask a receiver for a tuning program."""
    return _message(_FORM[0x00 if bank is None else 0x03], False, (), (), program, bank or 0)


def is_tuning(message: bytes) -> bool:
    """Whether a whole system exclusive message is one of the tuning standard, well formed or not."""
    return len(message) > 5 and message[1] in _HEADER.values() and message[3] == _TUNING_SUB_ID


def parse_tuning(message: bytes) -> Tuning:
    """Read a message of the tuning standard.

    Raises BadValue naming what is wrong. A checksum that disagrees is told, not refused: the standard's
    first wording was ambiguous.
    """
    if len(message) < 6 or message[0] != SYSEX or message[-1] != END_OF_SYSEX:
        raise BadValue(f"{message[:8].hex(' ')}... is not a whole system exclusive message (F0 to F7)")
    if not is_tuning(message) or message[4] not in _FORM:
        raise BadValue(f"{message[:8].hex(' ')}... is not a message of the MIDI Tuning Standard")
    if max(message[1:-1]) > 0x7F:
        raise BadValue("a tuning message holds a byte above 7F; it was damaged on its way")
    form = _FORM[message[4]]
    fields: dict[str, bytes] = {}
    at = 5
    for field in form.fields:
        fields[field] = message[at : at + _FIELD_BYTES[field]]
        at += _FIELD_BYTES[field]
    counted = "count" in fields
    count = (fields["count"][0] if fields["count"] else 0) if counted else form.values
    width = form.value_bytes + counted
    expected = at + count * width + form.checksum + 1
    if len(message) != expected:
        raise BadValue(
            f"a {form.name} has {expected} bytes, this one has {len(message)}; it was cut or damaged"
        )
    data = np.frombuffer(message, np.uint8, count * width, at).reshape(count, width).astype(np.int64)
    keys = data[:, 0] if counted else np.arange(count)
    steps = np.zeros(count, dtype=np.int64)
    for column in range(int(counted), width):
        steps = steps << 7 | data[:, column]
    offsets = np.zeros(0)
    if form.steps is not None:
        offsets = form.steps.cents(steps)
        if form.steps is KEY_STEPS:
            offsets = np.where(steps == NO_CHANGE, np.nan, offsets - 100.0 * keys)
    return Tuning(
        form,
        message[1] == _HEADER[True],
        message[2],
        tuple(int(key) for key in keys),
        tuple(float(cents) for cents in offsets),
        program=fields.get("program", b"\0")[0],
        bank=fields.get("bank", b"\0")[0],
        channels=_channels_of(fields["channels"]) if "channels" in fields else (),
        name=fields.get("name", b"").decode("ascii").rstrip(),
        checksum_agrees=not form.checksum or checksum(message) == message[-2],
    )


def checksum(message: bytes) -> int:
    """XOR of all bytes of a dump but F0, F7 and the checksum's own place, in 7 bits."""
    return int(np.bitwise_xor.reduce(np.frombuffer(message, np.uint8)[1:-2])) & 0x7F


def _message(
    form: Form,
    real_time: bool,
    keys: Sequence[int],
    words: Sequence[int],
    program: int = 0,
    bank: int = 0,
    channels: tuple[int, ...] = (),
    name: str = "",
) -> bytes:
    field_bytes = {
        "program": bytes((_seven_bits(program, "tuning program"),)),
        "bank": bytes((_seven_bits(bank, "tuning bank"),)),
        "count": bytes((len(keys),)),
        "channels": _channel_bits(channels),
        "name": name.encode("ascii", "replace")[:16].ljust(16),
    }
    out = bytearray((SYSEX, _HEADER[real_time], ALL_DEVICES, _TUNING_SUB_ID, form.sub_id))
    for field in form.fields:
        out += field_bytes[field]
    for key, word in zip(keys, words, strict=True):
        if not form.values:
            out.append(key)
        out += bytes(word >> shift & 0x7F for shift in range(7 * form.value_bytes - 7, -1, -7))
    if form.checksum:
        out.append(0)
    out.append(END_OF_SYSEX)
    if form.checksum:
        out[-2] = checksum(bytes(out))
    return bytes(out)


def _key_words(keys: ArrayLike, offset_cents: ArrayLike) -> tuple[list[int], list[int], NDArray[np.float64]]:
    changed = np.asarray(keys, dtype=np.int64)
    if changed.size and not (changed.min() >= 0 and changed.max() <= 127):
        raise BadValue("keys to retune must lie in 0 to 127")
    asked = np.asarray(offset_cents, dtype=np.float64)
    if np.isinf(asked).any():
        raise BadValue("an offset must be a finite number of cents")
    words = KEY_STEPS.nearest(np.nan_to_num(asked) + 100.0 * changed)
    left = np.nan_to_num(asked - (KEY_STEPS.cents(words) - 100.0 * changed))
    words = np.where(np.isnan(asked), NO_CHANGE, words)
    return changed.tolist(), words.tolist(), left


def _octave_words(form: Form, offset_cents: ArrayLike) -> tuple[list[int], NDArray[np.float64]]:
    assert form.steps is not None
    cure = "use the two-byte form, or tune by key" if form.value_bytes == 1 else "tune by key"
    words, left = form.steps.checked(_sized(offset_cents, 12), f"a {form.name}", cure)
    return words.tolist(), left


def _sized(values: ArrayLike, size: int) -> NDArray[np.float64]:
    array = np.asarray(values, dtype=np.float64)
    if array.shape != (size,):
        raise BadValue(f"a tuning of {size} offsets was expected, {array.size} were given")
    return array


def _seven_bits(value: int, what: str) -> int:
    if not 0 <= value <= 127:
        raise BadValue(f"{what} {value} is out of range; give 0 to 127")
    return value


def _nibble(channel: int) -> int:
    if not 1 <= channel <= 16:
        raise BadValue(f"channel {channel} does not exist; channels are 1 to 16")
    return channel - 1


def _channel_bits(channels: tuple[int, ...]) -> bytes:
    bits = 0
    for channel in channels:
        bits |= 1 << _nibble(channel)
    return bytes((bits >> 14, bits >> 7 & 0x7F, bits & 0x7F))


def _channels_of(bits: bytes) -> tuple[int, ...]:
    whole = (bits[0] & 3) << 14 | bits[1] << 7 | bits[2]
    return tuple(channel for channel in ALL_CHANNELS if whole >> (channel - 1) & 1)
