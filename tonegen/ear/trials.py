"""Trials: what is played, what is asked, and what the right answer is, all drawn from one stored seed.

Conventions: a *chord* is the just ratio of each of its tones to the lowest, which is 1:1; an interval is a
chord of two. Its *error* is how far one tone of it, the moved one, lies from pure, in cents, wide positive.
The level of a sound is its rms over its whole length, in dB below full scale.

The beat is the only cue. Pitch, loudness and length of each sound are drawn by themselves; the mean pitch of
a chord does not move with its error; coincident partials start a quarter turn apart whether they will beat or
not, so that the first cycle tells nothing; and every sound is scaled to the rms that was drawn for it, beats
included.

In a blind test A and B are one sound but for the error, and X is exactly one of them: whatever tells them
apart comes of the error.

Two things are nature's doing. No beat alone tells the side of an error. So where the side is asked the sound
goes on and can be nudged, narrower or wider and back: it is wide where it beats less when it is narrower. How
far it goes follows from the level, which is the same for all answers. And where the interval itself is asked,
its upper tone lies higher the wider it is. So the middle of the tones is what is drawn there, from three
octaves unless another register is asked for, and what one tone alone tells is lost in that; the loudness of
the first cycle, which lies within the fade-in, tells a little (24 % right where chance is 20 %).

A trial is made again, exactly, by `make_trial(trial.task, trial.level_cents, trial.seed)`.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import combinations
from math import lcm
from random import Random
from typing import Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from tonegen.errors import BadValue
from tonegen.interval import (
    FASTEST_COUNTABLE_BEATS_PER_SECOND,
    Direction,
    Ratio,
    beats_per_second,
    high_hz_from_beats,
)
from tonegen.pitch import cents_between

Chord = tuple[Ratio, ...]
Span = tuple[float, float]
_Any = TypeVar("_Any")


class TrialKind(StrEnum):
    """What is asked."""

    PURER = "purer"
    SIDE = "side"
    SET = "set"
    RATE = "rate"
    MATCH = "match"
    NAME = "name"
    ABX = "abx"
    OWN = "own"


QUESTIONS: Final = {
    TrialKind.PURER: "Which of the two is purer?",
    TrialKind.SIDE: "Is it wide, pure or narrow? Nudge it: does the beat slow down?",
    TrialKind.SET: "Set it pure.",
    TrialKind.RATE: "How fast does it beat? Tap on each beat.",
    TrialKind.MATCH: "Make the second beat as fast as the first.",
    TrialKind.NAME: "Which interval is it?",
    TrialKind.ABX: "Is X the same as A, or as B?",
    TrialKind.OWN: "One is your own tuning; in the other a string is off. Which one is off?",
}
# Kinds that are answered by right or wrong with a known chance of guessing, so that a threshold can be found.
WITH_THRESHOLD: Final = {
    TrialKind.PURER: 1 / 2,
    TrialKind.ABX: 1 / 2,
    TrialKind.OWN: 1 / 2,
    TrialKind.SIDE: 1 / 3,
}
_OF_ONE_INTERVAL: Final = frozenset({TrialKind.SIDE, TrialKind.SET, TrialKind.RATE, TrialKind.MATCH})
# Kinds in which the listener moves a sound himself, from the last one of the trial onward.
ADJUSTED: Final = frozenset({TrialKind.SET, TrialKind.MATCH})
# Kinds whose sound goes on until the answer.
HELD: Final = ADJUSTED | {TrialKind.RATE, TrialKind.SIDE}
# A nudge goes as far as the error that is asked about: to where it is still on the one side, and beats twice
# as fast on the other. Less would leave an error of many cents rough on both sides. A cent at least, so that
# what is pure is heard to beat on both.
_LEAST_NUDGE_CENTS: Final = 1.0


# Common practice, no source: above this few ears hear a beat, and few loudspeakers give it.
_HIGHEST_BEAT_HZ: Final = 10_000.0


class Bed(StrEnum):
    """What sounds beneath: nothing, noise, or an equal-tempered major triad an octave below."""

    NONE = "none"
    NOISE = "noise"
    CHORD = "chord"


def sloping(db_per_octave: float, partials: int) -> tuple[float, ...]:
    """Levels of the partials of a tone that falls by so many dB an octave, the first at 0 dB.

    >>> [round(level, 1) for level in sloping(-6, 4)]
    [0.0, -6.0, -9.5, -12.0]
    """
    return tuple(float(db_per_octave * np.log2(number)) + 0.0 for number in range(1, partials + 1))


def usual_spectra(chords: Sequence[Chord]) -> tuple[tuple[float, ...], ...]:
    """Three tones, dull to bright, with ten partials or as many as the chords need for their beats."""
    partials = max(10, *(ratio.upper for chord in chords for ratio in chord))
    return tuple(sloping(slope, partials) for slope in (-9, -6, -3))


THIRD_AND_FIFTH: Final[tuple[Chord, ...]] = ((Ratio(1, 1), Ratio(5, 4)), (Ratio(1, 1), Ratio(3, 2)))


@dataclass(frozen=True, slots=True)
class Task:
    """What a row of trials is drawn from; each span is (least, most), and every sound draws its own.

    chords : one is drawn for each trial, unless a session keeps them apart.
    low_hz : register of the lowest tone; where the interval is to be named, of the tones' middle.
    spectra : levels of the partials in dB, one spectrum for each sound.
    seconds, level_db : length and level of a sound. beats_per_second : rates to tap and to match.
    bed, bed_db : what sounds beneath, and its level against the sound's.
    names : what the tones of the one chord are called, such as "string 5"; () where they have no names.
    tempered_cents : how far each of them stands from just in the player's own tuning, to ask about that.
    Raises BadValue for what cannot be played, or has no beat that could be heard.
    """

    kind: TrialKind
    chords: tuple[Chord, ...] = THIRD_AND_FIFTH
    low_hz: Span = (165.0, 330.0)
    spectra: tuple[tuple[float, ...], ...] = usual_spectra(THIRD_AND_FIFTH)
    seconds: Span = (1.6, 2.4)
    level_db: Span = (-36.0, -30.0)
    beats_per_second: Span = (0.7, 4.0)
    bed: Bed = Bed.NONE
    bed_db: float = -6.0
    names: tuple[str, ...] = ()
    tempered_cents: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        """Refuse what cannot be played, or cannot be heard to beat."""
        spans = {
            "low_hz": (20, 2000),
            "seconds": (0.2, 60),
            "level_db": (-80, -26),
            "beats_per_second": (0.05, 15),
        }
        for name, (least, most) in spans.items():
            low, high = getattr(self, name)
            if not least <= low <= high <= most:
                raise BadValue(f"{name} from {low:g} to {high:g} is not between {least:g} and {most:g}")
        if not self.chords or not self.spectra:
            raise BadValue("a task needs at least one interval and one spectrum")
        if not -60 <= self.bed_db <= 0:
            raise BadValue(f"bed_db of {self.bed_db:g} is not between -60 and 0")
        if self.kind is TrialKind.NAME and len(self.chords) < 2:
            raise BadValue("to ask which interval it is, give two intervals or more")
        if (self.kind is TrialKind.OWN) != bool(self.tempered_cents):
            raise BadValue(
                f'"{TrialKind.OWN}" asks about your own tuning: give a grip of your instrument '
                "(--instrument, --grip)"
            )
        if self.tempered_cents and len(self.tempered_cents) != len(self.names):
            raise BadValue("each tone of a grip needs its name and its cents")
        if self.names and any(len(chord) != len(self.names) for chord in self.chords):
            raise BadValue("names are given for each tone of one chord, from the lowest up")
        for chord in self.chords:
            self._check_chord(chord)

    def _check_chord(self, chord: Chord) -> None:
        if len(chord) < 2 or chord[0] != Ratio(1, 1) or any(one.cents < 0 for one in chord):
            raise BadValue("a chord is two tones or more, written from the lowest up, such as 4:5:6")
        fewest = min(len(spectrum) for spectrum in self.spectra)
        for upper in chord[1:]:
            if upper.upper * self.low_hz[1] > _HIGHEST_BEAT_HZ:
                raise BadValue(
                    f"{upper} above {self.low_hz[1]:.0f} Hz beats at {upper.upper * self.low_hz[1]:.0f} Hz, "
                    "too high to hear well; leave it out, or give a lower register"
                )
            if upper.upper > fewest:
                raise BadValue(
                    f"{upper} beats between partials {upper.upper} and {upper.lower}, and a timbre has "
                    f"no more than {fewest}; leave that interval out, or take a timbre with more"
                )


@dataclass(frozen=True, slots=True)
class TrialSound:
    """One sound as data: everything that decides how it sounds, down to the phase of each partial.

    levels_db : of partials 1, 2, ... of every tone, against one another. phases_turns : tones x partials.
    level_db : rms of the whole. bed_seed : of the noise beneath.
    """

    chord: Chord
    low_hz: float
    moved: int
    error_cents: float
    levels_db: tuple[float, ...]
    phases_turns: tuple[tuple[float, ...], ...]
    seconds: float
    level_db: float
    bed: Bed = Bed.NONE
    bed_db: float = -6.0
    bed_seed: int = 0
    tempered_cents: tuple[float, ...] = ()

    @property
    def tones_hz(self) -> NDArray[np.float64]:
        """The tones, in the chord's order. `low_hz` is the lowest when the error is nothing.

        The error is shared out so that the mean pitch of the tones stays where it is.
        """
        cents = np.full(len(self.chord), -self.error_cents / len(self.chord))
        cents[self.moved] += self.error_cents
        if self.tempered_cents:
            cents += self.tempered_cents
        ratios = np.array([ratio.upper / ratio.lower for ratio in self.chord])
        return np.asarray(self.low_hz * ratios * 2 ** (cents / 1200), dtype=np.float64)

    def partials(self) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
        """Frequency in Hz, amplitude and phase in turns of every partial: the sound is their sum of sines.

        The amplitudes make the rms over `seconds` that of `level_db`, whatever the partials do to each other.
        """
        numbers = np.arange(1, len(self.levels_db) + 1)
        hz = np.outer(self.tones_hz, numbers).ravel()
        amplitude = np.tile(10 ** (np.array(self.levels_db) / 20), len(self.chord))
        phase = np.array(self.phases_turns).ravel()
        wanted = 10 ** (self.level_db / 20)
        return hz, amplitude * wanted / mean_square(hz, amplitude, phase, self.seconds) ** 0.5, phase

    def beats(self) -> tuple[tuple[int, int, Ratio, float], ...]:
        """Each pair of tones (lower, upper), its just ratio, and its signed beat rate."""
        hz = self.tones_hz
        pairs = []
        for low, high in combinations(range(len(self.chord)), 2):
            ratio = between(self.chord[low], self.chord[high])
            pairs.append((low, high, ratio, float(beats_per_second(hz[low], hz[high], ratio))))
        return tuple(pairs)

    @property
    def rate(self) -> float:
        """The signed beat rate of the moved tone against the lowest."""
        hz = self.tones_hz
        return float(beats_per_second(hz[0], hz[self.moved], self.chord[self.moved]))

    def with_error(self, cents: float) -> "TrialSound":
        """The same sound with the moved tone elsewhere; phases and amplitudes are kept."""
        return replace(self, error_cents=cents)

    def with_rate(self, beats_per_second: float) -> "TrialSound":
        """The same sound with an error that beats so fast, wide where that is positive."""
        # The error moves the lowest tone as well, a little; four rounds of the exact inverse settle that.
        sound, ratio = self.with_error(0.0), self.chord[self.moved]
        for _ in range(4):
            low = float(sound.tones_hz[0])
            high = float(high_hz_from_beats(beats_per_second, low, ratio))
            sound = sound.with_error(float(cents_between(low, high)) - ratio.cents)
        return sound


def between(lower: Ratio, upper: Ratio) -> Ratio:
    """The just ratio between two tones of a chord."""
    return Ratio(upper.upper * lower.lower, upper.lower * lower.upper)


def half_a_beat_cents(seconds: float, low_hz: float, ratio: Ratio) -> float:
    """The error of an interval that beats half a time while it sounds: less of it hardly shows.

    Half a beat is from loud to faint, as far as a sound can change. The shorter the sound and the lower the
    tone, the larger it is.

    >>> round(half_a_beat_cents(2, 165, Ratio(3, 2)), 1), round(half_a_beat_cents(8, 165, Ratio(3, 2)), 1)
    (0.9, 0.2)
    """
    high_hz = float(high_hz_from_beats(0.5 / seconds, low_hz, ratio))
    return float(cents_between(low_hz, high_hz)) - ratio.cents


def rough_cents(chord: Chord, low_hz: float) -> float:
    """The error above which some interval of a chord with its lowest tone is rough, not beating.

    >>> third, fifth = THIRD_AND_FIFTH
    >>> round(rough_cents(third, 330), 1), round(rough_cents(fifth, 330), 1)
    (15.7, 26.0)
    """
    most = FASTEST_COUNTABLE_BEATS_PER_SECOND
    highest = ((ratio, high_hz_from_beats(most, low_hz, ratio)) for ratio in chord[1:])
    return min(float(cents_between(low_hz, high_hz)) - ratio.cents for ratio, high_hz in highest)


def chord_name(chord: Chord) -> str:
    """The trade's name of an interval, or the numbers of a chord.

    >>> chord_name((Ratio(1, 1), Ratio(5, 4))), chord_name((Ratio(1, 1), Ratio(5, 4), Ratio(3, 2)))
    ('major third', '4:5:6')
    """
    if len(chord) == 2:
        return chord[1].name or str(chord[1])
    whole = lcm(*(ratio.lower for ratio in chord))
    return ":".join(str(ratio.upper * whole // ratio.lower) for ratio in chord)


def parse_chords(text: str) -> tuple[Chord, ...]:
    """Intervals and chords as they are written: 5:4,3:2 are two intervals, 4:5:6 is a chord from below.

    Raises BadValue for anything else.

    >>> [chord_name(chord) for chord in parse_chords("3:2,4:5:6")]
    ['fifth', '4:5:6']
    """
    chords: list[Chord] = []
    for part in text.split(","):
        numbers = part.strip().split(":")
        if len(numbers) < 3:
            chords.append((Ratio(1, 1), Ratio.parse(part)))
        else:
            chords.append(tuple(Ratio.parse(f"{number}:{numbers[0]}") for number in numbers))
    return tuple(chords)


def mean_square(
    hz: NDArray[np.float64], amplitude: NDArray[np.float64], phase_turns: NDArray[np.float64], seconds: float
) -> float:
    """Exact mean of the squared sum of sines over `seconds`, beats and all.

    Each product of two sines is half the difference of two cosines, and the mean of a cosine over a time is
    a sinc, times the cosine in its middle: mean of cos(2 pi (f t + a)) = sinc(f T) cos(2 pi (f T / 2 + a)).
    Those of differences and sums are made of the sines and cosines of each.
    """
    turns = hz * seconds
    middle = 2 * np.pi * (turns / 2 + phase_turns)
    cosine, sine = amplitude * np.cos(middle), amplitude * np.sin(middle)
    near, far = np.sinc(np.subtract.outer(turns, turns)), np.sinc(np.add.outer(turns, turns))
    return float(cosine @ (near - far) @ cosine + sine @ (near + far) @ sine) / 2


@dataclass(frozen=True, slots=True)
class Trial:
    """One question: the sounds in the order in which they are played, and what would be right.

    choices : the answers to choose from; () when the answer is a number.
    right : index of the right choice, or the number aimed at: cents from pure, or beats a second.
    For kinds that are adjusted the last sound is where the listener starts.
    """

    task: Task
    level_cents: float
    seed: int
    chord: Chord
    sounds: tuple[TrialSound, ...]
    choices: tuple[str, ...]
    right: float

    @property
    def nudge_cents(self) -> float:
        """How far the sound can be nudged either way while the question stands; 0 where it cannot."""
        if self.task.kind is not TrialKind.SIDE:
            return 0.0
        return max(self.level_cents, _LEAST_NUDGE_CENTS)

    @property
    def question(self) -> str:
        """What is asked; of a chord, about which interval: that of the moved tone with the lowest."""
        asked = QUESTIONS[self.task.kind]
        if len(self.chord) == 2 or self.task.kind not in _OF_ONE_INTERVAL:
            return asked
        interval = self.chord[self.sounds[0].moved]
        return f"In {chord_name(self.chord)}, listen to the {interval.name or interval}. {asked}"


@dataclass(frozen=True, slots=True)
class Judged:
    """How good an answer was: right or wrong of a choice, the error of a number (None for the other).

    The error is in cents for an interval set pure, in percent of the rate for beats.
    """

    right: bool | None
    error: float | None


def judge(trial: Trial, answer: float) -> Judged:
    """Judge an answer: the index of a choice; the error left, in cents; or a rate in beats a second.

    Raises BadValue for an answer that is none.
    """
    if not np.isfinite(answer):
        raise BadValue("an answer must be a finite number")
    if trial.choices:
        if answer not in range(len(trial.choices)):
            raise BadValue(f"there are only answers 1 to {len(trial.choices)}: {', '.join(trial.choices)}")
        return Judged(answer == trial.right, None)
    if trial.task.kind is TrialKind.SET:
        return Judged(None, float(answer))
    if answer < 0:
        raise BadValue("a beat rate is 0 or above; which side of pure it is on does not matter here")
    return Judged(None, 100 * (answer / trial.right - 1))


def make_trial(task: Task, level_cents: float, seed: int) -> Trial:
    """Draw a trial. The same task, level and seed give the same trial, on any machine and any Python.

    level_cents : size of the error that is asked about; for `set`, the most that it starts away from pure.
    The rates of `rate` and `match` are drawn from the task, and decide their error themselves.
    Raises BadValue unless the level is above zero and at most 100 cents.
    """
    if not 0 < level_cents <= 100:
        raise BadValue(f"an error of {level_cents:g} cents is not between 0 and 100")
    draw = _Draw(seed)
    chord = draw.one_of(task.chords)
    sounds: tuple[TrialSound, ...]
    choices: tuple[str, ...] = ()
    match task.kind:
        case TrialKind.PURER:
            right = float(draw.index(2))
            errors = (0.0, draw.sign() * level_cents)
            sounds = tuple(
                _sound(task, chord, error, draw) for error in (errors if right == 0 else errors[::-1])
            )
            choices = ("the first", "the second")
        case TrialKind.SIDE:
            right = float(draw.index(3))
            sounds = (_sound(task, chord, (1 - right) * level_cents, draw),)
            choices = (Direction.WIDE.value, Direction.PURE.value, Direction.NARROW.value)
        case TrialKind.ABX:
            right, error = float(draw.index(2)), draw.sign() * level_cents
            pair = (0.0, error) if draw.index(2) else (error, 0.0)
            first = _sound(task, chord, pair[0], draw)
            both = (first, first.with_error(pair[1]))
            sounds = (*both, both[int(right)])
            choices = ("A", "B")
        case TrialKind.OWN:
            # One sound with and without the error, as in a blind test: the player's own tuning beats as well.
            right, error = float(draw.index(2)), draw.sign() * level_cents
            own = replace(_sound(task, chord, 0.0, draw), tempered_cents=task.tempered_cents)
            both = (own, own.with_error(error))
            sounds = both if right == 1 else both[::-1]
            choices = ("the first", "the second")
        case TrialKind.NAME:
            right = float(task.chords.index(chord))
            sounds = (_sound(task, chord, draw.sign() * draw.between((0, level_cents)), draw),)
            choices = tuple(chord_name(one) for one in task.chords)
        case TrialKind.SET:
            right = 0.0
            sounds = (_sound(task, chord, draw.sign() * level_cents * draw.between((0.4, 1)), draw),)
        case TrialKind.RATE:
            right, sound = _beating(task, chord, draw)
            sounds = (sound,)
        case TrialKind.MATCH:
            right, sound = _beating(task, chord, draw)
            _, start = _beating(task, draw.one_of(task.chords), draw)
            sounds = (sound, start)
    return Trial(task, level_cents, seed, chord, sounds, choices, right)


class _Draw:
    """Random choices that are the same in every version of Python: only `random()` is promised to be."""

    def __init__(self, seed: int) -> None:
        self._random = Random(seed).random

    def between(self, span: Span) -> float:
        return span[0] + (span[1] - span[0]) * self._random()

    def pitch(self, span: Span) -> float:
        return float(span[0] * (span[1] / span[0]) ** self._random())

    def index(self, count: int) -> int:
        return int(count * self._random())

    def sign(self) -> float:
        return 1.0 if self._random() < 0.5 else -1.0

    def one_of(self, values: Sequence[_Any]) -> _Any:
        return values[self.index(len(values))]


def seed_of(session_seed: int, number: int) -> int:
    """The seed of trial `number` of a session."""
    # The two are mixed by the generator itself; 2^53 is what one `random()` holds.
    return int(Random(session_seed * 1_000_003 + number).random() * 2**53)


def _sound(task: Task, chord: Chord, error_cents: float, draw: _Draw) -> TrialSound:
    levels_db = draw.one_of(task.spectra)
    low_hz = draw.pitch(task.low_hz)
    if task.kind is TrialKind.NAME:
        low_hz /= float(np.exp2(np.mean([ratio.cents for ratio in chord]) / 1200))
    return TrialSound(
        chord=chord,
        low_hz=low_hz,
        moved=1 + draw.index(len(chord) - 1),
        error_cents=error_cents,
        levels_db=levels_db,
        phases_turns=_phases(chord, len(levels_db), draw),
        seconds=draw.between(task.seconds),
        level_db=draw.between(task.level_db),
        bed=task.bed,
        bed_db=task.bed_db,
        bed_seed=draw.index(2**53),
    )


def _phases(chord: Chord, partials: int, draw: _Draw) -> tuple[tuple[float, ...], ...]:
    """Random phases, but coincident partials a quarter turn apart: neither loud nor soft when they start."""
    tones: list[list[float]] = []
    for upper in chord:
        phases = []
        for number in range(1, partials + 1):
            free, side = draw.between((0, 1)), draw.sign()
            for lower, below in zip(chord, tones, strict=False):
                ratio = between(lower, upper)
                partner = number * ratio.upper // ratio.lower
                if number % ratio.lower == 0 and partner <= partials:
                    free = below[partner - 1] + side / 4
                    break
            phases.append(free % 1)
        tones.append(phases)
    return tuple(tuple(phases) for phases in tones)


def _beating(task: Task, chord: Chord, draw: _Draw) -> tuple[float, TrialSound]:
    """A rate of the task, and a sound that beats so fast, wide or narrow."""
    rate = draw.pitch(task.beats_per_second)
    side = draw.sign()
    return rate, _sound(task, chord, 0.0, draw).with_rate(side * rate)
