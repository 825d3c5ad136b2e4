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
from tonegen.listen.law import HeardPitch, pitch_by_law, shift_cents
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

Array = NDArray[np.float64]

SHORTEST_SECONDS: Final = 0.25
_STIFFNESS_DOUBT: Final = 0.5  # of ln B by gauge and scale
_PARTIALS_BY_PASS: Final = (8, 16, 24)
_ONE_NOTE_CENTS: Final = 30.0
_SILENCE: Final = 1e-5
_FEWEST_CLIPPED: Final = 4
# Of the power of a sound in which one string rings, its partials have nearly all.
_ONE_STRING: Final = 0.8
_ANOTHER_NOTE: Final = 0.5
_SECOND_STRING: Final = 0.1
_ALL_BUT_NOISE: Final = 0.97
_MAINS_HZ: Final = (50.0, 60.0)
_MAINS_WITHIN_HZ: Final = 0.35
_MAINS_SHARE: Final = 0.6
_FLAT_NEPERS: Final = 0.06
_SWING_CENTS: Final = 3.0
_MOST_ERROR_CENTS: Final = 1.0


class UnreadSound(TonegenError):
    """Why a sound is no reading; it says what to do."""


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


def _heard(sound: Array, sample_rate: int, expected: Sequence[Expected]) -> HeardString:
    """The same, however unsure its pitch."""
    if len(sound) < SHORTEST_SECONDS * sample_rate:
        raise UnreadSound(f"too short: let it ring for {SHORTEST_SECONDS:g} s and more")
    level = float(np.abs(sound).max())
    if not np.isfinite(level):
        raise UnreadSound("not a sound: there are numbers in it that are none")
    if level < _SILENCE:
        raise UnreadSound("nothing heard; is the right input chosen?")
    if _is_clipped(sound, level):
        raise UnreadSound("clipped, which moves the pitch: turn the level down and pick it again")
    still = sound - sound.mean()
    seen = spectrum(still, sample_rate)
    ranked = candidates(seen, expected)
    best = ranked[0]
    begin = HeardPitch(best.cents, 0.0, best.stiffness)
    pitch, rings = _measured(still, sample_rate, best.expected, begin, _STIFFNESS_DOUBT)
    _refuse_mains(rings)
    _refuse_others(seen, ranked)
    if abs(pitch.cents) > SEARCH_CENTS:
        raise UnreadSound("another note than any string plays in this state; are the right changes engaged?")
    if rings.swing_cents > _SWING_CENTS:
        raise UnreadSound(
            f"the bar moves: it swings {rings.swing_cents:.0f} cents {rings.swing_hz:.1f} times a second "
            f"about {pitch.cents:+.1f}; hold it still"
        )
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
            HeardPitch(each.cents, 0.0, before.stiffness), doubt=0.0,
        )[1]
        for sound, each in ((first, before), (second, after))
    )  # fmt: skip
    return shift_cents(one, other)


def _measured(
    sound: Array, sample_rate: int, expected: Expected, begin: HeardPitch, doubt: float
) -> tuple[HeardPitch, Ringing]:
    """The pitch above the target; a few partials first, since high ones must be looked for closely."""
    noise = noise_floor(sound, sample_rate)
    pitch, rings = begin, None
    for count in _PARTIALS_BY_PASS:
        hz = expected.hz * np.exp2(pitch.cents / 1200)
        rings = ringing(sound, sample_rate, partial_hz(hz, np.arange(1, count + 1), pitch.stiffness), noise)
        if rings is None:
            break
        found = pitch_by_law(rings, pitch.stiffness, doubt)
        pitch = HeardPitch(pitch.cents + found.cents, found.error_cents, found.stiffness)
    if rings is None:
        raise UnreadSound("nothing rings; pick the string, and let it ring")
    return pitch, rings


def _is_clipped(sound: Array, level: float) -> bool:
    """Whether samples in a row stand at the very same highest level, more than once."""
    at_the_top = np.abs(sound) >= level * (1 - 1e-9)
    return int(np.count_nonzero(at_the_top[1:] & at_the_top[:-1])) >= _FEWEST_CLIPPED


def _refuse_mains(rings: Ringing) -> None:
    hz = rings.hz * np.exp2(rings.cents / 1200)
    for mains in _MAINS_HZ:
        off = np.abs(hz - mains * np.rint(hz / mains))
        if (off < _MAINS_WITHIN_HZ).mean() >= _MAINS_SHARE and abs(rings.decay_nepers) < _FLAT_NEPERS:
            raise UnreadSound(f"only the hum of the mains is heard, {mains:g} Hz; pick a string")


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
