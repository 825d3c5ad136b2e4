"""A string heard from its sound: which one it is and at what pitch; or why that cannot be said.

What is said is the mean pitch over the sound. Where the fall after the pick ends is an extrapolation, several
times less sure.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.errors import TonegenError
from tonegen.frozen import Frozen
from tonegen.interval import partial_hz
from tonegen.listen.law import HeardPitch, pitch_by_law, pitch_by_ways, shift_cents
from tonegen.listen.noise import noise_floor
from tonegen.listen.ringing import Ringing, ringing
from tonegen.listen.spectrum import (
    SEARCH_CENTS,
    Expected,
    HeardCandidate,
    Spectrum,
    candidates,
    spectrum,
)
from tonegen.words import signed

Array = NDArray[np.float64]

SHORTEST_SECONDS: Final = 0.25
_STIFFNESS_DOUBT: Final = 0.5  # of ln B by gauge and scale
_PARTIALS_BY_PASS: Final = (8, 16, 24)
_FIRST_PARTIALS: Final = _PARTIALS_BY_PASS[:1]
_ALL_PARTIALS: Final = _PARTIALS_BY_PASS[-1:]
_ONE_NOTE_CENTS: Final = 30.0
_SILENCE: Final = 1e-5
_FEWEST_CLIPPED: Final = 4
# Of the power of a sound in which one string rings, its partials have nearly all.
_ONE_STRING: Final = 0.8
_ANOTHER_NOTE: Final = 0.5
_SECOND_STRING: Final = 0.1
_ALL_BUT_NOISE: Final = 0.97
MAINS_HZ: Final = (50.0, 60.0)
_MAINS_WITHIN_HZ: Final = 0.35
_MAINS_SHARE: Final = 0.6
FLAT_NEPERS: Final = 0.06
SWING_CENTS: Final = 3.0
_MOST_ERROR_CENTS: Final = 1.0
_OLD_STRINGS_CENTS: Final = 1.5  # what a learned string's middle partial never strays by


class UnreadSound(TonegenError):
    """Why a sound is no reading; it says what to do."""


class MovingBar(UnreadSound):
    """A bar that is shaken: where its middle is in place of a pitch, how far and how often it swings.

    expected : the string; cents : of the middle above its target, with error_cents.
    """

    def __init__(
        self, expected: Expected, cents: float, error_cents: float, swing_cents: float, swing_hz: float
    ) -> None:
        """What was heard, and a line that says it."""
        super().__init__(
            f"the bar moves: string {expected.string} swings {swing_cents:.0f} cents either way, "
            f"{swing_hz:.1f} times a second, about {signed(cents)} from its target; hold it still"
        )
        self.expected, self.cents, self.error_cents = expected, cents, error_cents
        self.swing_cents, self.swing_hz = swing_cents, swing_hz


@dataclass(frozen=True, slots=True)
class HeardString(Frozen):
    """A string that was heard. strings : its number, or several that play this note in this state.

    cents : above its target; error_cents : standard deviation. hz : of its first partial.
    """

    strings: tuple[int, ...]
    expected: Expected
    cents: float
    error_cents: float
    hz: float
    stiffness: float
    ringing: Ringing


def heard(sound: Array, sample_rate: int, expected: Sequence[Expected]) -> HeardString:
    """The string of a sound that begins after the pick; shape (frames,).

    expected : the strings as they would sound at their targets, in the state that is engaged.
    Raises UnreadSound where it cannot be said, with the reason.
    """
    found = _heard(sound, sample_rate, expected)
    if found.error_cents > _MOST_ERROR_CENTS:
        raise UnreadSound(
            f"not sure enough: within {found.error_cents:.1f} cents; pick it harder, or by itself"
        )
    return found


def first_look(sound: Array, sample_rate: int, expected: Sequence[Expected]) -> HeardString:
    """The same from a sound that is still too short for a reading; its error says how little it is worth."""
    return _heard(sound, sample_rate, expected, shortest_seconds=0.0, partials=_FIRST_PARTIALS)


def _heard(
    sound: Array,
    sample_rate: int,
    expected: Sequence[Expected],
    shortest_seconds: float = SHORTEST_SECONDS,
    partials: Sequence[int] = _PARTIALS_BY_PASS,
) -> HeardString:
    """The same, however unsure its pitch."""
    if len(sound) < shortest_seconds * sample_rate:
        raise UnreadSound(f"too short: let it ring for {SHORTEST_SECONDS:g} s and more")
    refuse_no_sound(sound)
    still = sound - sound.mean()
    seen = spectrum(still, sample_rate)
    ranked = candidates(seen, expected)
    best = ranked[0]
    pitch, rings = _read(still, sample_rate, best, partials)
    _refuse_mains(rings)
    if rings.swing_cents > SWING_CENTS:
        middle = pitch.cents - rings.swing_off_cents
        raise MovingBar(best.expected, middle, pitch.error_cents, rings.swing_cents, rings.swing_hz)
    _refuse_others(seen, ranked)
    if abs(pitch.cents) > SEARCH_CENTS:
        raise UnreadSound("another note than any string plays in this state; are the right changes engaged?")
    hz = best.expected.hz * float(np.exp2(pitch.cents / 1200))
    alike = tuple(
        each.expected.string
        for each in ranked
        if abs(1200 * np.log2(each.expected.hz / best.expected.hz)) < _ONE_NOTE_CENTS
    )
    return HeardString(
        tuple(sorted(alike)), best.expected, pitch.cents, pitch.error_cents, hz, pitch.stiffness, rings
    )


def moved(first: Array, second: Array, sample_rate: int, expected: Expected) -> tuple[float, float]:
    """How far a string moved from one sound to the other, in cents, and the standard deviation of that.

    The string is compared with itself, partial by partial, so that what is each partial's own cancels:
    several times surer than the difference of two readings. Both sounds must begin equally long after their
    picks. Raises UnreadSound where either cannot be read.
    """
    before, after = (_heard(each, sample_rate, [expected]) for each in (first, second))
    frames = min(len(first), len(second))
    one, other = (
        _measured(
            sound[:frames] - sound[:frames].mean(), sample_rate, expected,
            HeardPitch(each.cents, 0.0, before.stiffness), 0.0, _ALL_PARTIALS,
        )[1]
        for sound, each in ((first, before), (second, after))
    )  # fmt: skip
    return shift_cents(one, other)


def _read(
    sound: Array, sample_rate: int, best: HeardCandidate, partials: Sequence[int]
) -> tuple[HeardPitch, Ringing]:
    """The pitch above the target, by the partials' own ways where they were learned, else by the law."""
    ways, stiffness = best.expected.ways, best.expected.stiffness
    if ways is None or stiffness is None:
        begin = HeardPitch(best.cents, 0.0, best.stiffness)
        return _measured(sound, sample_rate, best.expected, begin, _STIFFNESS_DOUBT, partials)
    begin = HeardPitch(best.cents, 0.0, stiffness)
    pitch, rings = _measured(sound, sample_rate, best.expected, begin, 0.0, partials)
    found = pitch_by_ways(rings, ways, stiffness)
    if found is None:
        return pitch, rings
    moved, strays = found
    if strays > _OLD_STRINGS_CENTS:
        raise UnreadSound(
            f"string {best.expected.string} does not sound as it was learned, its partials stray by "
            f"{strays:.1f} cents; are its strings new? Then learn it again"
        )
    at = rings.hz[0] / partial_hz(best.expected.hz, rings.numbers[0], stiffness)  # where they were looked for
    return HeardPitch(1200 * float(np.log2(at)) + moved.cents, moved.error_cents, stiffness), rings


def _measured(
    sound: Array,
    sample_rate: int,
    expected: Expected,
    begin: HeardPitch,
    doubt: float,
    partials: Sequence[int] = _PARTIALS_BY_PASS,
) -> tuple[HeardPitch, Ringing]:
    """The pitch above the target; a few partials first, since high ones must be looked for closely."""
    noise = noise_floor(sound, sample_rate)
    pitch, rings = begin, None
    for count in partials:
        hz = expected.hz * np.exp2(pitch.cents / 1200)
        rings = ringing(sound, sample_rate, partial_hz(hz, np.arange(1, count + 1), pitch.stiffness), noise)
        if rings is None:
            break
        found = pitch_by_law(rings, pitch.stiffness, doubt, rough=count < partials[-1])
        pitch = HeardPitch(pitch.cents + found.cents, found.error_cents, found.stiffness)
    if rings is None:
        raise UnreadSound("nothing rings; pick the string, and let it ring")
    return pitch, rings


def refuse_no_sound(sound: Array) -> None:
    """Raise UnreadSound for what is no sound, silence, or clipped; shape (frames,)."""
    level = float(np.abs(sound).max())
    if not np.isfinite(level):
        raise UnreadSound("not a sound: there are numbers in it that are none")
    if float(np.ptp(sound)) < 2 * _SILENCE:  # whatever level it stands at
        raise UnreadSound("nothing heard; is the right input chosen?")
    if _is_clipped(sound, level):
        raise UnreadSound("clipped, which moves the pitch: turn the level down and pick it again")


def refuse_hum(mains_hz: float) -> None:
    """Raise UnreadSound for hum."""
    raise UnreadSound(f"only the hum of the mains is heard, {mains_hz:g} Hz; pick a string")


def _is_clipped(sound: Array, level: float) -> bool:
    """Whether samples in a row stand at the very same highest level, more than once."""
    at_the_top = np.abs(sound) >= level * (1 - 1e-9)
    return int(np.count_nonzero(at_the_top[1:] & at_the_top[:-1])) >= _FEWEST_CLIPPED


def _refuse_mains(rings: Ringing) -> None:
    hz = rings.hz * np.exp2(rings.cents / 1200)
    for mains in MAINS_HZ:
        off = np.abs(hz - mains * np.rint(hz / mains))
        if (off < _MAINS_WITHIN_HZ).mean() >= _MAINS_SHARE and abs(rings.decay_nepers) < FLAT_NEPERS:
            refuse_hum(mains)


def _refuse_others(seen: Spectrum, ranked: Sequence[HeardCandidate]) -> None:
    """Another note, or a second string, has power that the partials of one string do not explain."""
    best = ranked[0]
    own = _at(seen, best)
    step = _only_every(seen, own)
    if step > 1 and best.explained >= _ANOTHER_NOTE:
        raise UnreadSound(
            f"only partials {step}, {2 * step}, {3 * step} of string {best.expected.string} ring: "
            "another note, or a harmonic"
        )
    if best.explained >= _ONE_STRING:
        return
    together = max(
        (seen.explained(np.concatenate([own, _at(seen, each)])) for each in ranked[1:]), default=0.0
    )
    if together >= _ONE_STRING and together - best.explained > _SECOND_STRING:
        raise UnreadSound("more than one string rings; pick one and damp the others")
    if best.explained < _ANOTHER_NOTE:
        raise UnreadSound("another note than any string plays in this state; are the right changes engaged?")
    raise UnreadSound("something else sounds with it, or much noise; pick one string by itself")


def _only_every(seen: Spectrum, partials: Array) -> int:
    """1 where a string's own partials ring; 2 where only every second does, as those of its octave; 3, 5."""
    powers = np.array([seen.power @ seen.near(partials[index : index + 1]) for index in range(len(partials))])
    for step in (2, 3, 5):
        if powers[step - 1 :: step].sum() > _ALL_BUT_NOISE * powers.sum():
            return step
    return 1


def _at(seen: Spectrum, candidate: HeardCandidate) -> Array:
    hz = candidate.expected.hz * float(np.exp2(candidate.cents / 1200))
    return seen.partials(hz, candidate.stiffness)
