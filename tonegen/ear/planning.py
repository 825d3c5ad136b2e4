"""From what a listener asks for to a plan: what is usual for each kind, and the material of the trials.

The terminal and the page both ask in these words, so that a session begun at one goes on at the other.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from tonegen.ear.session import Method, SessionPlan
from tonegen.ear.trials import HELD, Bed, Chord, Span, Task, TrialKind, parse_chords, usual_spectra
from tonegen.errors import BadValue
from tonegen.interval import Ratio
from tonegen.pitch import cents_between, parse_pitch
from tonegen.sounding import SoundingTone, ratio_between
from tonegen.synthesis.timbre import Timbre


@dataclass(frozen=True, slots=True)
class Usual:
    """What a kind begins with when nothing else is said."""

    trials: int
    method: Method
    level_cents: float


USUAL: Final[Mapping[TrialKind, Usual]] = {
    TrialKind.PURER: Usual(90, Method.BAYES, 20.0),
    TrialKind.SIDE: Usual(90, Method.BAYES, 20.0),
    TrialKind.SET: Usual(20, Method.FIXED, 30.0),
    TrialKind.RATE: Usual(20, Method.FIXED, 20.0),
    TrialKind.MATCH: Usual(20, Method.FIXED, 20.0),
    TrialKind.NAME: Usual(30, Method.FIXED, 3.0),
    TrialKind.ABX: Usual(16, Method.FIXED, 5.0),
    TrialKind.OWN: Usual(16, Method.FIXED, 2.0),
}


# Two to choose from are too few to name: minor and major third, fourth, fifth and major sixth.
_TO_NAME: Final = parse_chords("6:5,5:4,4:3,3:2,5:3")
# Where the middle of their tones lies: three octaves, so that no tone alone gives the name away.
_NAMED_HZ: Final = (98.0, 784.0)
# Lengths differ by so much either way, so that they tell nothing.
_LENGTHS_DIFFER: Final = 0.2
LEAST_SECONDS, MOST_SECONDS = 0.5, 30.0


@dataclass(frozen=True, slots=True)
class Wish:
    """What a listener asks for; what is left out is None, or empty, and stays as is usual.

    seconds : how long a sound lasts, on the average.
    """

    kind: TrialKind
    chords: tuple[Chord, ...] | None = None
    low_hz: Span | None = None
    spectra: tuple[tuple[float, ...], ...] = ()
    bed: Bed = Bed.NONE
    trials: int | None = None
    method: Method | None = None
    levels_cents: tuple[float, ...] = ()
    seconds: float | None = None
    names: tuple[str, ...] = ()
    tempered_cents: tuple[float, ...] = ()


def plan_of(wish: Wish, seed: int) -> SessionPlan:
    """The plan of a wish. Raises BadValue for what does not fit together.

    >>> plan = plan_of(Wish(TrialKind.ABX, seconds=8), seed=1)
    >>> plan.trials, plan.method.value, plan.levels_cents, plan.task.seconds
    (16, 'fixed', (5.0,), (6.4, 9.6))
    """
    usual, kind = USUAL[wish.kind], wish.kind
    method = wish.method or usual.method
    draws_a_rate = kind in (TrialKind.RATE, TrialKind.MATCH)
    if wish.levels_cents and (method is Method.BAYES or draws_a_rate):
        hint = "" if draws_a_rate else f', or take the method "{Method.FIXED}"'
        raise BadValue(f"cents: this chooses its errors itself; leave it out{hint}")
    usual_task = Task(TrialKind.SET)
    chords = wish.chords or (_TO_NAME if kind is TrialKind.NAME else usual_task.chords)
    task = Task(
        kind,
        chords=chords,
        low_hz=wish.low_hz or (_NAMED_HZ if kind is TrialKind.NAME else usual_task.low_hz),
        spectra=wish.spectra or usual_spectra(chords),
        bed=wish.bed,
        seconds=usual_task.seconds if wish.seconds is None else _lengths(wish.seconds, kind),
        names=wish.names,
        tempered_cents=wish.tempered_cents if kind is TrialKind.OWN else (),
    )
    trials = usual.trials if wish.trials is None else wish.trials
    return SessionPlan(task, method, trials, seed, wish.levels_cents or (usual.level_cents,))


def _lengths(seconds: float, kind: TrialKind) -> Span:
    if kind in HELD:
        raise BadValue("seconds: this sound goes on until you answer; leave the length out")
    if not LEAST_SECONDS <= seconds <= MOST_SECONDS:
        raise BadValue(
            f"a sound of {seconds:g} seconds is not between {LEAST_SECONDS:g} and {MOST_SECONDS:g}"
        )
    return (round(seconds * (1 - _LENGTHS_DIFFER), 3), round(seconds * (1 + _LENGTHS_DIFFER), 3))


def parse_register(text: str) -> Span:
    """Two notes, between which the lowest tone lies, as hz. Raises BadValue for anything else.

    >>> [round(hz) for hz in parse_register("A2,A3")]
    [110, 220]
    """
    low, separator, high = text.partition(",")
    if not separator:
        raise BadValue("a register is two notes, the lowest tone lies between them: A2,A3")
    span = (float(parse_pitch(low).hz_at(440.0)), float(parse_pitch(high).hz_at(440.0)))
    if span[0] > span[1]:
        raise BadValue(f"register {text} goes down; give the lower note first")
    return span


def parse_levels(text: str) -> tuple[float, ...]:
    """Cents, one number or more with commas between. Raises BadValue for anything else."""
    try:
        return tuple(float(part) for part in text.split(","))
    except ValueError:
        raise BadValue(
            f'"{text}" is not a list of cents; give one number or more, such as 5 or 2,5,10'
        ) from None


def spectrum_of(timbre: Timbre, name: str) -> tuple[float, ...]:
    """Levels in dB of the partials of a timbre. Raises BadValue for one that is no harmonic tone."""
    if timbre.multiples != tuple(range(1, len(timbre.multiples) + 1)):
        raise BadValue(f"timbre {name}: a trial needs partials 1, 2, 3 and so on, with none left out")
    return tuple((20 * np.log10(np.maximum(timbre.levels, 1e-6))).tolist())


@dataclass(frozen=True, slots=True)
class AskedGrip:
    """A grip as trials ask about it: its chord, where its lowest tone lies, and what its tones are called.

    tempered_cents : how far each stands from just above the lowest, temperament, drop and all
    """

    chord: Chord
    low_hz: Span
    names: tuple[str, ...]
    tempered_cents: tuple[float, ...]


def material_of(tones: Sequence[SoundingTone]) -> AskedGrip:
    """What trials ask about where they ask about a grip, given as it sounds.

    Each ratio is the one that the chart shows: by the degrees of the grip, else the likeliest of the pitches
    that sound, temperament, drop and all. The register is the neck's first octave: the bar is anywhere on it,
    also between frets, so that pitch tells nothing. Raises BadValue for a grip of fewer than two strings.
    """
    if len(tones) < 2:
        raise BadValue("a trial needs a grip of two strings or more")
    low, *others = in_order = sorted(tones, key=lambda tone: tone.hz)
    chord = (Ratio(1, 1), *(ratio_between(low, high) for high in others))
    off = (
        float(cents_between(low.hz, tone.hz)) - ratio.cents
        for tone, ratio in zip(in_order, chord, strict=True)
    )
    names = tuple(f"string {tone.string}" for tone in in_order)
    return AskedGrip(chord, (low.hz, 2 * low.hz), names, tuple(off))
