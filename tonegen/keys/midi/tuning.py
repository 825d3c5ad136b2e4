"""The MIDI Tuning Standard: keys and pitch classes of a receiver, from cents to messages and back.

Sources: MIDI Tuning (Updated Specification), with CA-020 and CA-021/RP-020.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonegen.errors import BadValue
from tonegen.keys.midi.fields import (
    FINE_OCTAVE_STEPS,
    KEY_STEPS,
    NO_CHANGE,
    OCTAVE_STEPS,
    Encoded,
    Steps,
    nibble,
    seven_bits,
)
from tonegen.keys.midi.status import ALL_CHANNELS, ALL_DEVICES, END_OF_SYSEX, SYSEX

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
class TuningMessage:
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


def key_word(key: int, offset_cents: float) -> int:
    """The same of one key."""
    return int(KEY_STEPS.nearest(offset_cents + 100.0 * key))


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


def parse_tuning(message: bytes) -> TuningMessage:
    """Read a message of the tuning standard.

    Raises BadValue naming what is wrong. A checksum that disagrees is told, not refused: the standard's
    first wording was ambiguous.
    """
    if len(message) < 6 or message[0] != SYSEX or message[-1] != END_OF_SYSEX:
        raise BadValue(f"{message[:8].hex(' ')}... is not a whole system exclusive message (F0 to F7)")
    if not is_tuning(message) or message[4] not in _FORM:
        raise BadValue(f"{message[:8].hex(' ')}... is not a message of the MIDI Tuning Standard")
    if max(message[1:-1]) > 0x7F:
        raise BadValue("a tuning message holds a byte above 7F; it was damaged in transit")
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
    return TuningMessage(
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
        "program": bytes((seven_bits(program, "tuning program"),)),
        "bank": bytes((seven_bits(bank, "tuning bank"),)),
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


def _channel_bits(channels: tuple[int, ...]) -> bytes:
    bits = 0
    for channel in channels:
        bits |= 1 << nibble(channel)
    return bytes((bits >> 14, bits >> 7 & 0x7F, bits & 0x7F))


def _channels_of(bits: bytes) -> tuple[int, ...]:
    whole = (bits[0] & 3) << 14 | bits[1] << 7 | bits[2]
    return tuple(channel for channel in ALL_CHANNELS if whole >> (channel - 1) & 1)
