"""Notes, keys, cents and hz.

Conventions: a *key* is a MIDI key number, A4 = 69 (MIDI Tuning Standard); it may be a fraction.
An *offset* is cents from equal temperament at the reference pitch. The reference pitch is the frequency
of A4 in Hz. Functions take scalars or arrays that broadcast together, and give float64 of their common shape.
"""

import re
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonegen.errors import BadValue

A4_KEY: Final = 69
REFERENCE_HZ: Final = 440.0  # ISO 16:1975
LOWEST_REFERENCE_HZ: Final = 380.0
HIGHEST_REFERENCE_HZ: Final = 500.0
# What somebody writes down lies within these; far beyond what is heard, and arithmetic stays finite.
LOWEST_WRITTEN_HZ: Final = 1e-3
HIGHEST_WRITTEN_HZ: Final = 1e6
MOST_WRITTEN_CENTS: Final = 12_000.0  # ten octaves

_LETTER_KEYS: Final = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_ACCIDENTAL_SEMITONES: Final = {"": 0, "#": 1, "♯": 1, "##": 2, "x": 2, "b": -1, "♭": -1, "bb": -2}
_SHARP_NAMES: Final = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")
_FLAT_NAMES: Final = ("C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B")
_PITCH_CLASS: Final = re.compile(r"([A-Ga-g])(##|bb|[#♯xb♭]?)")
_NOTE: Final = re.compile(_PITCH_CLASS.pattern + r"(-?\d{1,2})")
_FROM_TO: Final = re.compile(r"(.*\d)\s*-\s*([A-Ga-g].*)")
_WITH_CENTS: Final = re.compile(r"(.*\d)([+-]\d+(?:\.\d*)?)c?")
_CENTS: Final = re.compile(r"([+-]?\d+(?:\.\d*)?)c")
_HZ: Final = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?|[+-]?(?:nan|inf))(?:hz)?", re.IGNORECASE)


def checked_hz(hz: ArrayLike, what: str = "frequency") -> NDArray[np.float64]:
    """`hz` as float64, each value finite and above zero.

    Raises BadValue naming `what` and the first value that is not.

    >>> float(checked_hz(440))
    440.0
    """
    values = np.asarray(hz, dtype=np.float64)
    wrong = ~(np.isfinite(values) & (values > 0))
    if wrong.any():
        first = np.atleast_1d(values)[np.atleast_1d(wrong)][0]
        raise BadValue(f"{what} {first:g} Hz is not a finite number above zero")
    return values


def checked_reference_hz(reference_hz: float) -> float:
    """The reference pitch, 380 to 500 Hz. Raises BadValue outside that.

    >>> checked_reference_hz(442)
    442.0
    """
    if not LOWEST_REFERENCE_HZ <= reference_hz <= HIGHEST_REFERENCE_HZ:  # false for NaN as well
        raise BadValue(
            f"reference pitch {reference_hz:g} Hz is out of range; "
            f"give A4 as {LOWEST_REFERENCE_HZ:g} to {HIGHEST_REFERENCE_HZ:g} Hz, such as 440"
        )
    return float(reference_hz)


def hz_from_key(
    key: ArrayLike, offset_cents: ArrayLike = 0.0, reference_hz: ArrayLike = REFERENCE_HZ
) -> NDArray[np.float64]:
    """Frequency of a key that lies `offset_cents` from equal temperament.

    Source: MIDI Tuning Standard, 440 * 2^((key - 69) / 12), with the reference pitch in place of 440.

    >>> float(hz_from_key(60).round(4))  # middle C
    261.6256
    """
    keys = np.asarray(key, dtype=np.float64)
    semitones = (keys - A4_KEY) + np.asarray(offset_cents, dtype=np.float64) / 100
    return np.asarray(reference_hz, dtype=np.float64) * np.exp2(semitones / 12)


def key_from_hz(hz: ArrayLike, reference_hz: ArrayLike = REFERENCE_HZ) -> NDArray[np.float64]:
    """The key, with its fraction, that sounds at `hz` in equal temperament.

    >>> float(key_from_hz(220))
    57.0
    """
    return A4_KEY + 12 * np.log2(checked_hz(hz) / checked_hz(reference_hz, "reference pitch"))


def nearest_key(
    hz: ArrayLike, reference_hz: ArrayLike = REFERENCE_HZ
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """The nearest whole key, and the offset in cents of `hz` from it, within -50 to 50.

    >>> key, cents = nearest_key(446.0)
    >>> int(key), float(cents.round(1))
    (69, 23.4)
    """
    keys = key_from_hz(hz, reference_hz)
    whole = np.rint(keys)
    return whole.astype(np.int64), (keys - whole) * 100


def cents_between(low_hz: ArrayLike, high_hz: ArrayLike) -> NDArray[np.float64]:
    """Size of the interval in cents, negative when `high_hz` is the lower one.

    Source: A. J. Ellis, 1200 cents to the octave.

    >>> float(cents_between(200, 300).round(3))  # a pure fifth
    701.955
    """
    return 1200 * np.log2(checked_hz(high_hz) / checked_hz(low_hz))


def parse_note(text: str) -> int:
    """The key of a written note: a letter, sharps or flats, and the octave; C4 is middle C.

    Raises BadValue for anything else, and for notes outside keys 0 to 127 (C-1 to G9).

    >>> parse_note("C#4"), parse_note("Db4"), parse_note("A4")
    (61, 61, 69)
    """
    found = _NOTE.fullmatch(text.strip())
    if not found:
        raise BadValue(
            f'"{text}" is not a note name; write a letter A to G, an optional # or b, '
            f'then the octave, such as "G#4"'
        )
    letter, accidental, octave = found.groups()
    key = 12 * (int(octave) + 1) + _LETTER_KEYS[letter.upper()] + _ACCIDENTAL_SEMITONES[accidental]
    if not 0 <= key <= 127:
        raise BadValue(f'note "{text}" is out of range; notes go from C-1 to G9 (keys 0 to 127)')
    return key


def parse_pitch_class(text: str) -> int:
    """The pitch class 0 to 11 (C = 0) of a note name without octave.

    >>> parse_pitch_class("Eb")
    3
    """
    found = _PITCH_CLASS.fullmatch(text.strip())
    if not found:
        raise BadValue(
            f'"{text}" is not the name of a note; write a letter A to G and an optional # or b, such as "Eb"'
        )
    letter, accidental = found.groups()
    return (_LETTER_KEYS[letter.upper()] + _ACCIDENTAL_SEMITONES[accidental]) % 12


def note_name(key: int, flats: bool = False) -> str:
    """The name of a whole key, with sharps unless `flats`.

    >>> note_name(61), note_name(61, flats=True)
    ('C#4', 'Db4')
    """
    return f"{pitch_class_name(key, flats)}{key // 12 - 1}"


def pitch_class_name(key: int, flats: bool = False) -> str:
    """The name of a key without its octave, with sharps unless `flats`.

    >>> pitch_class_name(63), pitch_class_name(63, flats=True)
    ('D#', 'Eb')
    """
    return (_FLAT_NAMES if flats else _SHARP_NAMES)[key % 12]


def song_key_name(pitch_class: int, minor: bool = False) -> str:
    """The name of a song's key: that of its scale with the fewest accidentals; of two with six F# and Ebm.

    >>> [song_key_name(pitch_class) for pitch_class in (1, 6, 10)]
    ['Db', 'F#', 'Bb']
    >>> [song_key_name(pitch_class, minor=True) for pitch_class in (1, 3, 6, 8, 10)]
    ['C#m', 'Ebm', 'F#m', 'G#m', 'Bbm']
    """
    if minor:
        return f"{pitch_class_name(pitch_class, flats=pitch_class % 12 in (3, 10))}m"
    return pitch_class_name(pitch_class, flats=pitch_class % 12 != 6)


def parse_song_key(text: str) -> tuple[int, bool]:
    """The pitch class of a song's key, and whether it is minor: a note, with an m behind it or not.

    Raises BadValue for anything else.

    >>> parse_song_key("Eb"), parse_song_key("C#m"), parse_song_key("A minor")
    ((3, False), (1, True), (9, True))
    """
    written = text.strip()
    note = written.removesuffix("minor").removesuffix("m").strip()
    return parse_pitch_class(note), note != written


@dataclass(frozen=True, slots=True)
class WrittenPitch:
    """A pitch as somebody wrote it: a key with its offset, or Hz, or cents above another tone.

    key : of a written note, with `cents` as its offset; None otherwise.
    hz : of a written frequency; None otherwise. Without either, `cents` is an interval.
    """

    text: str
    key: int | None = None
    hz: float | None = None
    cents: float = 0.0

    def hz_at(
        self, reference_hz: float, temperament_cents: float = 0.0, above_hz: float | None = None
    ) -> float:
        """The frequency that is meant.

        temperament_cents : the temperament's offset of the key. above_hz : the tone that cents count from.
        Raises BadValue for an interval without a tone below it.

        >>> round(parse_pitch("A4+10").hz_at(440.0), 2)
        442.55
        >>> round(parse_pitch("702c").hz_at(440.0, above_hz=200.0))
        300
        """
        if self.hz is not None:
            return self.hz
        if self.key is not None:
            return float(hz_from_key(self.key, self.cents + temperament_cents, reference_hz))
        if above_hz is None:
            raise BadValue(f'"{self.text}" is relative to another tone; write a note or Hz here')
        return float(above_hz * np.exp2(self.cents / 1200))


def parse_pitch(text: str) -> WrittenPitch:
    """A pitch written as a note ("C#4"), a note with cents ("C#4-13.7"), hz ("275.6") or cents ("386.3c").

    Raises BadValue for anything else, for Hz outside 0.001 to 1,000,000, and for cents beyond ten octaves.

    >>> parse_pitch("C#4-13.7").cents, parse_pitch("275.6").hz, parse_pitch("386.3c").cents
    (-13.7, 275.6, 386.3)
    """
    written = text.strip().replace("−", "-")  # copied from what we print
    if found := _CENTS.fullmatch(written):
        return WrittenPitch(written, cents=_checked_written_cents(float(found[1])))
    if found := _HZ.fullmatch(written):
        return WrittenPitch(written, hz=_checked_written_hz(float(found[1])))
    if found := _WITH_CENTS.fullmatch(written):
        return WrittenPitch(written, key=parse_note(found[1]), cents=_checked_written_cents(float(found[2])))
    return WrittenPitch(written, key=parse_note(written))


def _checked_written_hz(hz: float) -> float:
    checked_hz(hz)
    if not LOWEST_WRITTEN_HZ <= hz <= HIGHEST_WRITTEN_HZ:
        raise BadValue(f"frequency {hz:g} Hz is out of range; give 0.001 to 1,000,000 Hz, such as 220")
    return hz


def _checked_written_cents(cents: float) -> float:
    if not abs(cents) <= MOST_WRITTEN_CENTS:
        raise BadValue(f"{cents:g} cents are more than ten octaves; give at most {MOST_WRITTEN_CENTS:g}")
    return cents


def parse_keys(text: str) -> tuple[int, ...]:
    """Keys by their notes, single ones and from one to another: "C3-C5, E5". Raises BadValue.

    >>> parse_keys("C3-D3, E5")
    (48, 49, 50, 76)
    """
    keys: list[int] = []
    for part in text.split(","):
        if found := _FROM_TO.fullmatch(part):
            low, high = map(parse_note, found.groups())
            if high < low:
                raise BadValue(f'"{part.strip()}" goes down; write the lower note first, such as C3-C5')
            keys += range(low, high + 1)
        else:
            keys.append(parse_note(part))
    return tuple(dict.fromkeys(keys))
