"""A string heard alone, twice or more: its stiffness, and how far each of its partials lies from the law.

The string is the limit of what can be heard, not the noise: its partials disagree by tenths of a cent, the
first by
up to 12, as the body and the bridge have it. They do so alike each time the string is picked, so that a
string
that was learned is compared with itself.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.frozen import Frozen
from tonegen.interval import partial_hz
from tonegen.listen.heard import UnreadSound, heard
from tonegen.listen.law import pitch_by_law
from tonegen.listen.noise import noise_floor
from tonegen.listen.ringing import Ringing, ringing
from tonegen.listen.spectrum import Expected, OwnWays

Array = NDArray[np.float64]

FEWEST_PICKS: Final = 2
_PARTIALS: Final = 24
_FEWEST_PARTIALS: Final = 3
_LEAST_CENTS: Final = 0.02  # two picks of one string are not alike beyond that
_ALIKE_CENTS: Final = 1.0


@dataclass(frozen=True, slots=True)
class LearnedString(Frozen):
    """What was learned of a string. hz : of its first partial, by the law, as it was heard; stiffness : B.

    alike_cents : how far its middle partial's way differs from pick to pick. error_cents : of hz, by a clock
    that is right; None where nobody remembers.
    """

    hz: float
    stiffness: float
    ways: OwnWays
    alike_cents: float
    error_cents: float | None = None


def learn(sounds: Sequence[Array], sample_rate: int, expected: Expected) -> LearnedString:
    """A string from sounds in which it rings alone, each from after its pick; two or more.

    Raises UnreadSound where it cannot be read, or where the picks are not alike.
    """
    if len(sounds) < FEWEST_PICKS:
        raise UnreadSound(f"string {expected.string} is picked once; pick it twice, so that it is sure")
    alone = Expected(expected.string, expected.name, expected.hz, expected.stiffness)
    picks = [heard(each, sample_rate, [alone]) for each in sounds]
    shares = np.array([each.error_cents**-2 for each in picks])
    stiffness = float(np.exp(shares @ [np.log(each.stiffness) for each in picks] / shares.sum()))
    ways = [_ways(sound, sample_rate, each.hz, stiffness) for sound, each in zip(sounds, picks, strict=True)]
    numbers = np.unique(np.concatenate([each for each, _ in ways]))
    table = np.full((len(ways), len(numbers)), np.nan)
    for row, (which, cents) in zip(table, ways, strict=True):
        row[np.searchsorted(numbers, which)] = cents
    often = np.count_nonzero(~np.isnan(table), axis=0)
    numbers, table, often = numbers[often >= FEWEST_PICKS], table[:, often >= FEWEST_PICKS], often[often >= 2]
    if len(numbers) < _FEWEST_PARTIALS:
        raise UnreadSound(f"too few partials of string {expected.string} ring each time; pick it harder")
    # Each pick has its own pitch: what all partials have in common is none of their own ways.
    table -= np.nanmedian(table - np.nanmean(table, axis=0), axis=1)[:, np.newaxis]
    scatter = np.nanvar(table, axis=0, ddof=1)
    alike = float(np.sqrt(2 * np.median(scatter)))
    if alike > _ALIKE_CENTS:
        raise UnreadSound(
            f"the picks of string {expected.string} are not alike: its partials differ by {alike:.1f} cents; "
            "pick it alone, at one place, and let it ring"
        )
    # Two picks say little of how far one partial scatters: it is taken half-way to what they all do.
    variances = (0.5 * scatter + 0.5 * np.median(scatter)) / often + _LEAST_CENTS**2
    hz = float(np.exp(np.mean(np.log([each.hz for each in picks]))))
    own = OwnWays(numbers, np.nanmean(table, axis=0), variances)
    return LearnedString(hz, stiffness, own, alike, float(shares.sum() ** -0.5))


def _ways(sound: Array, sample_rate: int, hz: float, stiffness: float) -> tuple[Array, Array]:
    """Which partials ring, and by how many cents each lies above the law of the pitch of all of them."""
    still = sound - sound.mean()
    looked_for = partial_hz(hz, np.arange(1, _PARTIALS + 1), stiffness)
    rings: Ringing | None = ringing(still, sample_rate, looked_for, noise_floor(still, sample_rate))
    if rings is None:
        raise UnreadSound("nothing rings; pick the string, and let it ring")
    return rings.numbers, rings.cents - pitch_by_law(rings, stiffness, 0.0).cents
