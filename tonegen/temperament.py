"""Temperaments: rules that give each note, or each tuning point, its offset from equal temperament.

A *pitch-class temperament* is built on a root, whose offset is 0, and is the same in every octave.
The player's own gives one offset per tuning point of one instrument. Fractions of a comma stay fractions
until the offsets are asked for.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import log2
from typing import Final, Protocol

from tonegen.errors import BadValue
from tonegen.frozen import Frozen
from tonegen.instrument import Instrument, State, TuningPoint
from tonegen.interval import Ratio
from tonegen.pitch import parse_pitch_class, pitch_class_name
from tonegen.words import signed

# What a pure fifth exceeds seven semitones by; twelve of them make the Pythagorean comma.
_FIFTH_EXCESS_CENTS: Final = Ratio(3, 2).cents - 700
# Each comma as multiples of that excess and of the syntonic comma, so that fractions stay exact.
_COMMAS: Final = {"pythagorean": (12, 0), "syntonic": (0, 1)}
COMMAS: Final = tuple(_COMMAS)


class Temperament(Protocol):
    """What the rest of the program asks of any temperament."""

    @property
    def name(self) -> str:
        """What it is called."""

    def offset_cents(self, instrument: Instrument, point: TuningPoint) -> float:
        """Offset of a tuning point from equal temperament."""

    def offset_of_key(self, key: int) -> float:
        """Offset of a key from equal temperament. Raises BadValue where only an instrument has offsets."""


@dataclass(frozen=True, slots=True)
class PitchClassTemperament:
    """Twelve offsets above a root, the same in every octave.

    offsets_cents : offset of each semitone above the root; the root's own is 0, unless twelve cents on paper
        say another.
    root : pitch class 0 to 11, C = 0.
    """

    name: str
    offsets_cents: tuple[float, ...]
    root: int = 0
    title: str = ""

    def on(self, root: int) -> "PitchClassTemperament":
        """The same temperament built on another root.

        >>> EQUAL.on(14).root
        2
        """
        return PitchClassTemperament(self.name, self.offsets_cents, root % 12, self.title)

    def offset_of_key(self, key: int) -> float:
        """Offset of a key from equal temperament.

        >>> from tonegen.presets import temperament
        >>> round(temperament("five-limit-just").on(9).offset_of_key(61), 2)  # C#, the third of A
        -13.69
        """
        return self.offsets_cents[(key - self.root) % 12]

    def offset_cents(self, instrument: Instrument, point: TuningPoint) -> float:
        """Offset of the note that a tuning point stands for, without the bar.

        >>> from tonegen.presets import instrument, temperament
        >>> just = temperament("five-limit-just").on(4)
        >>> round(just.offset_cents(instrument("e9-ten-string"), TuningPoint(6)), 2)  # G#, the third of E
        -13.69
        """
        return self.offset_of_key(instrument.key(point))


EQUAL: Final = PitchClassTemperament("equal", (0.0,) * 12, title="Equal temperament")


@dataclass(frozen=True, slots=True)
class Context:
    """What a temperament was made with: drop profile and scene, by name or file; None where nobody said."""

    drop: str | None = None
    reference_hz: float | None = None
    scene: str | None = None


NO_CONTEXT: Final = Context()


@dataclass(frozen=True, slots=True)
class OwnTemperament(Frozen):
    """The player's own: one offset per tuning point of one instrument.

    A point without an offset stands at equal temperament, a half-stop where it was measured above its open
    string; a stop of several changes that has none is where its parts leave it: of raises the higher wins, a
    raise and a lower add.
    not_asked : points of which no grip of its scene asked anything, so that they were left as they were.
    """

    name: str
    instrument_name: str
    offsets_cents: Mapping[TuningPoint, float]
    title: str = ""
    context: Context = NO_CONTEXT
    not_asked: frozenset[TuningPoint] = frozenset()

    def given(self, point: TuningPoint) -> float | None:
        """The offset that is written down for a point, its changes in any order; None where there is none.

        >>> OwnTemperament("mine", "e9-ten-string", {TuningPoint(5, ("C", "A")): -9.0}).given(
        ...     TuningPoint(5, ("A", "C")))
        -9.0
        """
        if point in self.offsets_cents or len(point.changes) < 2:
            return self.offsets_cents.get(point)
        same = (each for each in self.offsets_cents if each.is_same_stop(point))
        return next((self.offsets_cents[each] for each in same), None)

    def offset_of_key(self, key: int) -> float:
        """Refused: a key says nothing of strings and changes."""
        raise BadValue(
            f"temperament {self.name} belongs to an instrument; give --instrument {self.instrument_name}"
        )

    def offset_cents(self, instrument: Instrument, point: TuningPoint) -> float:
        """Offset of a tuning point. Raises BadValue for another instrument than its own.

        >>> from tonegen.presets import instrument
        >>> mine = OwnTemperament("mine", "e9-ten-string", {TuningPoint(6): -11.0})
        >>> mine.offset_cents(instrument("e9-ten-string"), TuningPoint(6))
        -11.0
        """
        self._refuse_others(instrument)
        given = self.given(point)
        if given is not None or (len(point.changes) < 2 and point.travel == 1):
            return given or 0.0
        open_offset = self.offset_cents(instrument, TuningPoint(point.string))
        if point.travel != 1:
            measured = instrument.half_stop(point)
            return open_offset + measured.cents - 100 * instrument.raised_semitones(point)
        parts = [TuningPoint(point.string, (name,)) for name in point.changes]
        pulls = [(instrument.raised_semitones(part), self.offset_cents(instrument, part)) for part in parts]
        raises = [offset - open_offset for semitones, offset in pulls if semitones > 0]
        lowers = [offset - open_offset for semitones, offset in pulls if semitones < 0]
        return open_offset + max(raises, default=0.0) + min(lowers, default=0.0)

    def checked_on(self, instrument: Instrument) -> "OwnTemperament":
        """This temperament, if it is the instrument's. Raises BadValue also for half-stops that it lacks."""
        self._refuse_others(instrument)
        for point in self.offsets_cents:
            if point.travel != 1:
                try:
                    instrument.key(point)
                except BadValue as error:
                    raise BadValue(f"temperament {self.name}, {point}: {error}") from None
        return self

    def _refuse_others(self, instrument: Instrument) -> None:
        if instrument.name != self.instrument_name:
            raise BadValue(
                f"temperament {self.name} belongs to {self.instrument_name}, not to {instrument.name}; "
                f"choose another, such as equal"
            )


def is_asked(temperament: Temperament, point: TuningPoint) -> bool:
    """Whether anything was asked of a point when the temperament was made; by notes all are asked.

    >>> mine = OwnTemperament("mine", "e9-ten-string", {}, not_asked=frozenset({TuningPoint(1)}))
    >>> is_asked(EQUAL, TuningPoint(1)), is_asked(mine, TuningPoint(1))
    (True, False)
    """
    left = temperament.not_asked if isinstance(temperament, OwnTemperament) else ()
    return not any(each.is_same_stop(point) for each in left)


def on_root(temperament: Temperament, root: int | None, usual: int = 0) -> Temperament:
    """A temperament on a root, on its usual one for None.

    Raises BadValue for a root given to one of tuning points, which takes none.

    >>> on_root(EQUAL, None, 4).root
    4
    >>> on_root(OwnTemperament("mine", "e9-ten-string", {}), 7)
    Traceback (most recent call last):
    tonegen.errors.BadValue: temperament mine gives every tuning point its own offset and takes no root
    """
    if isinstance(temperament, PitchClassTemperament):
        return temperament.on(usual if root is None else root)
    if root is not None:
        raise BadValue(
            f"temperament {temperament.name} gives every tuning point its own offset and takes no root"
        )
    return temperament


def fitted(temperament: Temperament, instrument: Instrument) -> Temperament:
    """A temperament, if it fits an instrument: one that goes by notes fits any. Raises BadValue otherwise.

    >>> from tonegen.presets import instrument
    >>> mine = OwnTemperament("mine", "e9-ten-string", {TuningPoint(5, ("A",), 0.5): 3.0})
    >>> fitted(mine, instrument("e9-ten-string"))
    Traceback (most recent call last):
    tonegen.errors.BadValue: temperament mine, string 5 with A at 0.5: A has no half-stop that is a note there
    """
    return temperament.checked_on(instrument) if isinstance(temperament, OwnTemperament) else temperament


def string_cents(instrument: Instrument, temperament: Temperament, string: int, state: State) -> float:
    """Pitch of a string in a state, in cents above its open key at equal temperament, before any drop.

    >>> from tonegen.presets import instrument
    >>> e9 = instrument("e9-ten-string")
    >>> string_cents(e9, EQUAL, 5, e9.state(["A"])), string_cents(e9, EQUAL, 5, e9.state({"A": 0.5}))
    (200.0, 100.0)
    """
    return instrument.cents_above_open(
        string, state, lambda point: temperament.offset_cents(instrument, point)
    )


# The circle of fifths upward from C; fifth n leads from note n to note n + 1.
_CIRCLE: Final = tuple(7 * step % 12 for step in range(12))


def parse_fifth(text: str) -> int:
    """Place of a fifth on the circle, 0 for C-G up to 11 for F-C. Raises BadValue for anything else.

    >>> parse_fifth("C-G"), parse_fifth("G#-Eb"), parse_fifth("F-C")
    (0, 8, 11)
    """
    low, _, high = text.partition("-")
    below, above = parse_pitch_class(low), parse_pitch_class(high)
    if (above - below) % 12 != 7:
        raise BadValue(f'"{text}" is not a fifth; write one such as "C-G" or "B-F#"')
    return _CIRCLE.index(below)


def offsets_along_fifths(comma: str, tempering: Mapping[int, Fraction], closing: int) -> tuple[float, ...]:
    """Offsets of the twelve semitones above C from the tempering of the fifths.

    comma : one of COMMAS.
    tempering : by place on the circle (see parse_fifth), the fraction of the comma added to a pure fifth;
        fifths that are not named are pure.
    closing : the fifth that takes whatever is left.
    Notes are reached from C without crossing the closing fifth: upward before it, downward behind it.
    Raises BadValue for an unknown comma, or a closing fifth that is tempered as well.
    """
    if comma not in _COMMAS:
        raise BadValue(f'"{comma}" is not a comma; write one of: {", ".join(COMMAS)}')
    if closing in tempering:
        raise BadValue("the closing fifth takes what is left; it cannot be tempered as well")
    offsets = [0.0] * 12
    for note in range(1, 12):
        upward = note <= closing
        places = range(note) if upward else range(note, 12)
        fifths, fraction = (
            len(places),
            sum((tempering.get(place, Fraction(0)) for place in places), Fraction(0)),
        )
        excesses, syntonics = _COMMAS[comma]
        cents = _FIFTH_EXCESS_CENTS * float(fifths + excesses * fraction) + Ratio(81, 80).cents * float(
            syntonics * fraction
        )
        offsets[_CIRCLE[note]] = cents if upward else -cents
    return tuple(offset + 0.0 for offset in offsets)  # + 0.0 turns -0.0 into 0.0


def offsets_from_ratios(ratios: Sequence[Ratio]) -> tuple[float, ...]:
    """Offsets of the twelve semitones above a root from the just ratio of each, unison first.

    Raises BadValue unless there are twelve, each within half a semitone of its key.
    """
    if len(ratios) != 12:
        raise BadValue(f"a scale of ratios needs twelve of them, from 1:1 up; there are {len(ratios)}")
    offsets = tuple(
        1200 * log2(ratio.upper / ratio.lower) - 100 * semitone for semitone, ratio in enumerate(ratios)
    )
    for semitone, (ratio, offset) in enumerate(zip(ratios, offsets, strict=True)):
        if abs(offset) > 50:
            raise BadValue(
                f"ratio {ratio} is {signed(offset, 1)} cents off semitone {semitone}; put it in its place"
            )
    if offsets[0]:
        raise BadValue(f"a scale of ratios begins with 1:1, not {ratios[0]}")
    return offsets


def offsets_on_paper(cents: Sequence[float]) -> tuple[float, ...]:
    """Twelve offsets from equal temperament as somebody wrote them down, C first, none more than 50 cents.

    Raises BadValue for others, such as a scale whose cents are counted from C.

    >>> offsets_on_paper([0, 76, 193, 310, 386, 503, 579, 697, 773, 890, 1007, 1083])
    Traceback (most recent call last):
    tonegen.errors.BadValue: C# is 76 cents off; write offsets from equal temperament: of a scale counted from
    C, 76 less 100 is −24
    """
    if len(cents) != 12:
        raise BadValue(f"twelve offsets are needed, C to B; there are {len(cents)}")
    for semitone, offset in enumerate(cents):
        if abs(offset) > 50:
            counted = offset - 100 * semitone
            cure = f": of a scale counted from C, {offset:g} less {100 * semitone} is {signed(counted, 0)}"
            raise BadValue(
                f"{pitch_class_name(semitone)} is {offset:g} cents off; write offsets from equal temperament"
                f"{cure if abs(counted) <= 50 else ', 50 cents at most'}"
            )
    return tuple(map(float, cents))
