"""Intervals, just ratios, and the beats of partials that would coincide.

Conventions: a *ratio* p:q is upper:lower, in lowest terms. The *beat rate* is signed, in beats per second:
positive when the interval is wide, negative when it is narrow. A tone's hz is the frequency of its first
partial, which is what a pitch reading shows. *Stiffness* is B of the partial law below; 0 is a perfectly
flexible string, whose partials are whole multiples. All functions broadcast scalars and arrays.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from math import gcd, log, log2
from typing import Final, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonegen.errors import BadValue
from tonegen.pitch import cents_between, checked_hz

# Above this the ear hears roughness. Source: Fastl & Zwicker, Psychoacoustics, 3rd ed. 2007: 15 to 20 Hz.
FASTEST_COUNTABLE_BEATS_PER_SECOND: Final = 15.0
# One beat in 20 seconds: nobody holds a count longer (common practice, no source).
SLOWEST_COUNTABLE_BEATS_PER_SECOND: Final = 0.05
# Pairs of partials above this are too weak to tune by (common practice, no source).
HIGHEST_PARTIAL_TO_TUNE_BY: Final = 8
# Less than one beat in a quarter of an hour: no tone lasts so long.
PURE_BEATS_PER_SECOND: Final = 0.001

Numbers = TypeVar("Numbers", float, NDArray[np.float64])


@dataclass(frozen=True, slots=True, order=True)
class Ratio:
    """A just ratio, upper:lower, kept in lowest terms.

    Raises BadValue unless both are whole numbers above zero.

    >>> Ratio(10, 8)
    Ratio(upper=5, lower=4)
    >>> str(Ratio.parse("3/2")), Ratio(3, 2).name
    ('3:2', 'fifth')
    """

    upper: int
    lower: int

    def __post_init__(self) -> None:
        """Reduce to lowest terms."""
        if self.upper < 1 or self.lower < 1:
            raise BadValue(f"ratio {self.upper}:{self.lower} needs two whole numbers above zero, such as 5:4")
        common = gcd(self.upper, self.lower)
        object.__setattr__(self, "upper", self.upper // common)
        object.__setattr__(self, "lower", self.lower // common)

    @classmethod
    def parse(cls, text: str) -> "Ratio":
        """A ratio written 5:4 or 5/4. Raises BadValue for anything else.

        >>> Ratio.parse("10/8")
        Ratio(upper=5, lower=4)
        """
        upper, separator, lower = text.strip().replace("/", ":").partition(":")
        if not (separator and upper.isascii() and upper.isdigit() and lower.isascii() and lower.isdigit()):
            raise BadValue(f'"{text}" is not a ratio; write two whole numbers, such as 5:4')
        if len(upper) > 6 or len(lower) > 6:
            raise BadValue(f'ratio "{text}" is too large; its numbers go to 999999')
        return cls(int(upper), int(lower))

    def shifted(self, octaves: int) -> "Ratio":
        """The same interval that many octaves wider, or narrower where negative.

        >>> str(Ratio(5, 4).shifted(1)), str(Ratio(5, 4).shifted(-1))
        ('5:2', '5:8')
        """
        return Ratio(self.upper << max(octaves, 0), self.lower << max(-octaves, 0))

    def __str__(self) -> str:
        """Upper:lower."""
        return f"{self.upper}:{self.lower}"

    @property
    def cents(self) -> float:
        """Size in cents.

        >>> round(Ratio(3, 2).cents, 3)
        701.955
        """
        return 1200 * log2(self.upper / self.lower)

    @property
    def name(self) -> str:
        """The trade's name, counted up by octaves where it is wider than one; "" when it has none.

        >>> Ratio(5, 4).name, Ratio(5, 2).name, Ratio(31, 29).name
        ('major third', 'major third and 1 octave', '')
        """
        narrowed, octaves = self, 0
        if self in JUST_INTERVALS:
            return JUST_INTERVALS[self]
        while narrowed.upper > 2 * narrowed.lower:
            narrowed, octaves = narrowed.shifted(-1), octaves + 1
        if narrowed == Ratio(2, 1):
            return f"{octaves + 1} octaves"
        name = JUST_INTERVALS.get(narrowed, "")
        return f"{name} and {octaves} octave{'s' if octaves > 1 else ''}" if name and octaves else name


def _named(names: dict[str, str]) -> dict[Ratio, str]:
    return {Ratio.parse(ratio): name for ratio, name in names.items()}


# Just intervals up to the 19-limit. Names after A. J. Ellis in Helmholtz, On the Sensations of Tone (1885),
# App. XX, where he has one; the others are common practice, no source.
JUST_INTERVALS: Final = _named({
    "1:1": "unison", "2:1": "octave", "3:1": "twelfth", "4:1": "double octave",
    # powers of 2 and 3
    "3:2": "fifth", "4:3": "fourth", "9:8": "major whole tone", "16:9": "Pythagorean minor seventh",
    "27:16": "Pythagorean major sixth", "32:27": "Pythagorean minor third",
    "81:64": "Pythagorean major third",
    "128:81": "Pythagorean minor sixth", "243:128": "Pythagorean major seventh", "256:243": "limma",
    "2187:2048": "apotome", "729:512": "Pythagorean augmented fourth",
    "1024:729": "Pythagorean diminished fifth",
    # with 5
    "5:4": "major third", "6:5": "minor third", "5:3": "major sixth", "8:5": "minor sixth",
    "10:9": "minor whole tone", "9:5": "minor seventh", "15:8": "major seventh", "16:15": "semitone",
    "25:24": "chromatic semitone", "27:25": "great semitone", "25:16": "augmented fifth",
    "32:25": "diminished fourth", "36:25": "acute diminished fifth", "25:18": "grave augmented fourth",
    "45:32": "augmented fourth", "64:45": "diminished fifth", "27:20": "acute fourth", "40:27": "grave fifth",
    "75:64": "augmented second", "81:80": "syntonic comma", "128:125": "lesser diesis",
    "648:625": "greater diesis",
    # with 7
    "7:4": "harmonic seventh", "7:6": "septimal minor third", "9:7": "septimal major third",
    "7:5": "lesser septimal tritone", "10:7": "greater septimal tritone", "8:7": "septimal whole tone",
    "12:7": "septimal major sixth", "14:9": "septimal minor sixth", "21:16": "septimal fourth",
    "32:21": "septimal fifth", "15:14": "septimal semitone", "21:20": "lesser septimal semitone",
    "28:27": "septimal third of a tone", "64:63": "septimal comma", "35:24": "septimal narrow fifth",
    # with 11
    "11:8": "eleventh harmonic", "16:11": "undecimal fifth", "11:9": "undecimal neutral third",
    "18:11": "undecimal neutral sixth", "11:6": "undecimal neutral seventh",
    "12:11": "undecimal neutral second", "11:10": "lesser undecimal neutral second",
    "20:11": "greater undecimal neutral seventh", "11:7": "undecimal minor sixth",
    "14:11": "undecimal major third",
    # with 13
    "13:8": "thirteenth harmonic", "16:13": "tridecimal neutral third", "13:12": "tridecimal semitone",
    "13:11": "tridecimal minor third", "13:10": "tridecimal narrow fourth", "13:9": "tridecimal tritone",
    "13:7": "tridecimal major seventh", "24:13": "tridecimal neutral seventh",
    # with 17
    "17:16": "seventeenth harmonic", "18:17": "septendecimal semitone", "17:12": "septendecimal tritone",
    "24:17": "lesser septendecimal tritone", "17:14": "septendecimal minor third",
    "17:10": "septendecimal major sixth", "17:9": "septendecimal major seventh",
    # with 19
    "19:16": "nineteenth harmonic", "24:19": "undevicesimal major third",
    "19:12": "undevicesimal minor sixth",
    "19:15": "undevicesimal wide third", "19:18": "undevicesimal semitone",
    "20:19": "lesser undevicesimal semitone", "19:10": "undevicesimal major seventh",
})  # fmt: skip


def _largest_prime(ratio: Ratio) -> int:
    return max(prime for prime in (1, 2, 3, 5, 7, 11, 13, 17, 19) if ratio.upper * ratio.lower % prime == 0)


# What an interval is taken for when nobody says: intervals that players tune by beats, to the 7-limit.
_TUNED_BY_EAR: Final = tuple(
    ratio
    for ratio in JUST_INTERVALS
    if ratio.upper * ratio.lower <= 300 and ratio.upper < 2 * ratio.lower and _largest_prime(ratio) <= 7
)


class Direction(StrEnum):
    """On which side of pure an interval lies."""

    WIDE = "wide"
    NARROW = "narrow"
    PURE = "pure"


class Audible(StrEnum):
    """What a beat rate is to the ear."""

    BEATS = "beats"
    ROUGHNESS = "roughness"
    TOO_SLOW = "too slow"


def partial_hz(hz: ArrayLike, number: ArrayLike, stiffness: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Frequency of partial `number` of a tone whose first partial is at `hz`.

    Source: H. Fletcher (1964): partial n lies at n * f0 * sqrt(1 + B n^2), f0 being that of the same string
    if it had no stiffness. The first partial is then f0 * sqrt(1 + B); `hz` is that one.

    >>> float(partial_hz(100, 5))
    500.0
    """
    numbers = np.asarray(number, dtype=np.float64)
    b = _checked_stiffness(stiffness)
    return checked_hz(hz) * numbers * np.sqrt((1 + b * numbers**2) / (1 + b))


def partial_sharp_cents(number: ArrayLike, stiffness: ArrayLike) -> NDArray[np.float64]:
    """How much sharper a partial lies than so many times the first, in cents; see `partial_hz`.

    >>> float(partial_sharp_cents(8, 1.63e-4).round(1)), float(partial_sharp_cents(8, 0.0))
    (8.8, 0.0)
    """
    return 1200 * np.log2(partial_hz(1.0, number, stiffness) / np.asarray(number, dtype=np.float64))


def partial_slope_cents(number: Numbers, stiffness: Numbers | float) -> Numbers:
    """How many cents sharper a partial gets, over the first, for each unit that B grows by.

    The slope in B of what `partial_sharp_cents` gives: (600 / ln 2) (n^2 / (1 + B n^2) - 1 / (1 + B)).

    >>> [round(1e-5 * partial_slope_cents(number, 1e-4), 3) for number in (1, 8)]  # B a tenth larger
    [0.0, 0.542]
    """
    square = number**2
    return 600 / log(2) * (square / (1 + stiffness * square) - 1 / (1 + stiffness))


def coincident_partials_hz(
    low_hz: ArrayLike,
    high_hz: ArrayLike,
    ratio: Ratio,
    *,
    low_stiffness: ArrayLike = 0.0,
    high_stiffness: ArrayLike = 0.0,
    multiple: ArrayLike = 1,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The two partials, of the low and of the high tone, that coincide when the interval is pure.

    multiple : 1 for the lowest coincident pair, 2 and 3 for those above it.
    Raises BadValue naming the first frequency that is not above zero.

    >>> low, high = coincident_partials_hz(220.0, 277.18, Ratio(5, 4))
    >>> float(low), float(high)
    (1100.0, 1108.72)
    """
    number = np.asarray(multiple)
    if (number < 1).any():
        raise BadValue("coincident pairs count from 1, the lowest")
    return (
        partial_hz(low_hz, ratio.upper * number, low_stiffness),
        partial_hz(high_hz, ratio.lower * number, high_stiffness),
    )


def beats_per_second(
    low_hz: ArrayLike,
    high_hz: ArrayLike,
    ratio: Ratio,
    *,
    low_stiffness: ArrayLike = 0.0,
    high_stiffness: ArrayLike = 0.0,
    multiple: ArrayLike = 1,
) -> NDArray[np.float64]:
    """Beat rate of the coincident partials (see there): wide positive, narrow negative.

    Source: partials are multiples of the fundamental; ANSI/ASA S1.1, "beats": the difference of frequencies.

    >>> float(beats_per_second(174.614116, 220.0, Ratio(5, 4)).round(1))  # F3-A3 in equal temperament
    6.9
    """
    low_partial, high_partial = coincident_partials_hz(
        low_hz, high_hz, ratio, low_stiffness=low_stiffness, high_stiffness=high_stiffness, multiple=multiple
    )
    return high_partial - low_partial


def coincident_hz(low_hz: ArrayLike, high_hz: ArrayLike, ratio: Ratio) -> NDArray[np.float64]:
    """Where the beat of two flexible strings is heard: midway between the two coincident partials.

    >>> float(coincident_hz(220.0, 277.18, Ratio(5, 4)).round())
    1104.0
    """
    low_partial, high_partial = coincident_partials_hz(low_hz, high_hz, ratio)
    return (low_partial + high_partial) / 2


def high_hz_from_beats(
    beats: ArrayLike,
    low_hz: ArrayLike,
    ratio: Ratio,
    *,
    low_stiffness: ArrayLike = 0.0,
    high_stiffness: ArrayLike = 0.0,
) -> NDArray[np.float64]:
    """The upper tone that beats at the signed rate `beats` against `low_hz`; exact inverse of the beat rate.

    Raises BadValue when the beat would put the upper tone at or below zero.

    >>> float(high_hz_from_beats(0, 220, Ratio(5, 4)))
    275.0
    """
    rate = np.asarray(beats, dtype=np.float64)
    if not np.isfinite(rate).all():
        raise BadValue("a beat rate must be a finite number of beats per second")
    high_partial = partial_hz(low_hz, ratio.upper, low_stiffness) + rate
    if (high_partial <= 0).any():
        raise BadValue(
            f"no tone beats that fast below a pure {ratio}; count again, or give a higher low tone"
        )
    return high_partial / partial_hz(1.0, ratio.lower, high_stiffness)


def cents_from_just(low_hz: ArrayLike, high_hz: ArrayLike, ratio: Ratio) -> NDArray[np.float64]:
    """How far the interval between two fundamentals lies from the just ratio, in cents; wide positive.

    >>> float(cents_from_just(220.0, 277.183, Ratio(5, 4)).round(1))  # A3-C#4 in equal temperament
    13.7
    """
    return cents_between(low_hz, high_hz) - ratio.cents


@dataclass(frozen=True, slots=True)
class CountedTone:
    """One tone that a count of beats allows."""

    cents_from_just: float
    high_hz: float


def readings_of_count(beats: float, low_hz: float, ratio: Ratio) -> tuple[CountedTone, CountedTone]:
    """The two tones that an unsigned count of `beats` per second allows: if wide, and if narrow.

    Raises BadValue for a negative or infinite count.

    >>> wide, narrow = readings_of_count(0.7, 220.0, Ratio(5, 4))
    >>> round(wide.high_hz, 3), round(narrow.high_hz, 3)
    (275.175, 274.825)
    """
    if not 0 <= beats < np.inf:
        raise BadValue(f"a count of {beats:g} beats per second is not possible; count from 0 upward")
    wide, narrow = (float(high_hz_from_beats(rate, low_hz, ratio)) for rate in (beats, -beats))
    return (
        CountedTone(float(cents_from_just(low_hz, wide, ratio)), wide),
        CountedTone(float(cents_from_just(low_hz, narrow, ratio)), narrow),
    )


@dataclass(frozen=True, slots=True)
class Candidate:
    """A just ratio that an interval may stand for."""

    ratio: Ratio
    cents_from_just: float

    @property
    def likelihood_rank(self) -> float:
        """Lower is likelier: the octaves of p*q (how high the coincident pair lies), plus one per 8 cents.

        The weight is ours: it takes every equal-tempered interval for the ratio that players tune it to.

        >>> third, limma = Candidate(Ratio(5, 4), 13.7), Candidate(Ratio(81, 64), -7.8)
        >>> third.likelihood_rank < limma.likelihood_rank
        True
        """
        return log2(self.ratio.upper * self.ratio.lower) + abs(self.cents_from_just) / 8


def candidates(cents: float, within_cents: float = 50.0) -> tuple[Candidate, ...]:
    """Just ratios to the 19-limit within `within_cents` of an interval, likeliest first.

    Intervals wider than an octave are taken down by octaves, and their ratios widened again.

    >>> [str(found.ratio) for found in candidates(386, within_cents=10)]
    ['5:4']
    """
    return _ranked(JUST_INTERVALS, cents, within_cents)


def nearest_ratio(low_hz: float, high_hz: float) -> Ratio:
    """The ratio that an interval most likely stands for, among those that are tuned by ear.

    >>> str(nearest_ratio(220, 277.18)), str(nearest_ratio(82.41, 277.18))
    ('5:4', '10:3')
    """
    return _ranked(_TUNED_BY_EAR, float(cents_between(low_hz, high_hz)), 75.0)[0].ratio


def _ranked(known: Iterable[Ratio], cents: float, within_cents: float) -> tuple[Candidate, ...]:
    """Each known ratio within an octave, moved by octaves to where it is nearest to `cents`."""
    if not np.isfinite(cents):
        raise BadValue("an interval must be a finite number of cents")
    found = []
    for ratio in known:
        if ratio.upper >= 2 * ratio.lower:
            continue
        octaves = round((cents - ratio.cents) / 1200)
        error = cents - ratio.cents - 1200 * octaves
        if abs(error) <= within_cents:
            found.append((Candidate(ratio, error).likelihood_rank, Candidate(ratio.shifted(octaves), error)))
    return tuple(candidate for _, candidate in sorted(found, key=lambda ranked: ranked[0]))


def direction(beats_per_second: float) -> Direction:
    """Wide, narrow or pure, of a signed beat rate.

    >>> [direction(rate).value for rate in (8.7, -0.5, 0.0)]
    ['wide', 'narrow', 'pure']
    """
    if abs(beats_per_second) < PURE_BEATS_PER_SECOND:
        return Direction.PURE
    return Direction.WIDE if beats_per_second > 0 else Direction.NARROW


def audible(beats_per_second: float) -> Audible:
    """Beats that can be counted, roughness above them, or too slow below them.

    >>> [audible(rate).value for rate in (8.7, 20.0, 0.01)]
    ['beats', 'roughness', 'too slow']
    """
    beats = abs(beats_per_second)
    if beats > FASTEST_COUNTABLE_BEATS_PER_SECOND:
        return Audible.ROUGHNESS
    return Audible.TOO_SLOW if beats < SLOWEST_COUNTABLE_BEATS_PER_SECOND else Audible.BEATS


def _checked_stiffness(stiffness: ArrayLike) -> NDArray[np.float64]:
    b = np.asarray(stiffness, dtype=np.float64)
    if not (np.isfinite(b) & (b >= 0)).all():
        raise BadValue("stiffness must be a finite number, 0 or above")
    return b
