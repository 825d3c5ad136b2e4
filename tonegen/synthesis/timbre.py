"""Timbres, and the tones that wear them.

Conventions: a *timbre* is a set of partials: multiples of the first partial's frequency, linear levels that
sum to 1, start phases in turns, and one decay in dB per second. A *tone* is a timbre at a frequency, with a
level, a place between the ears and a name by which the player knows it again. `hz` is the frequency of the
first partial, which is what a pitch reading shows.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonegen.errors import BadValue
from tonegen.interval import Ratio, partial_hz
from tonegen.pitch import checked_hz

MOST_PARTIALS: Final = 256
STEEPEST_DECAY_DB_PER_SECOND: Final = 200.0
# Far beyond any string, whose B is some ten thousandths; arithmetic stays finite.
STIFFEST: Final = 1.0
HIGHEST_MULTIPLE: Final = 10_000.0


class Place(StrEnum):
    """Where a tone stands between the ears."""

    BOTH = "both"
    LEFT = "left"
    RIGHT = "right"


@dataclass(frozen=True, slots=True)
class Timbre:
    """Partials of a tone; the levels are scaled so that they sum to 1.

    multiples : of the first partial's frequency, each above zero and given once
    levels : linear, any scale; a negative one is kept as a phase that is half a turn later
    phases_turns : where each partial starts, in turns of a sine; all at 0 when left out
    decay_db_per_second : 0 for a sustained tone
    stiffness : B of the partial law in `interval.partial_hz`
    follows_string : takes the string's own stiffness where that is known
    Raises BadValue for no partials, too many, lists of different lengths, or numbers that make no sense.

    >>> Timbre((1, 2), (3, 1)).levels
    (0.75, 0.25)
    """

    multiples: tuple[float, ...]
    levels: tuple[float, ...]
    phases_turns: tuple[float, ...] = ()
    decay_db_per_second: float = 0.0
    stiffness: float = 0.0
    follows_string: bool = False

    def __post_init__(self) -> None:
        """Check the numbers, and scale the levels to a sum of 1."""
        count = len(self.multiples)
        if not 1 <= count <= MOST_PARTIALS:
            raise BadValue(f"a timbre has 1 to {MOST_PARTIALS} partials, not {count}")
        phases = self.phases_turns or (0.0,) * count
        for what, values in (("levels", self.levels), ("phases", phases)):
            if len(values) != count:
                raise BadValue(f"{count} partials need {count} {what}, not {len(values)}")
            if not np.isfinite(values).all():
                raise BadValue(f"{what} of a timbre must be finite numbers")
        checked_hz(self.multiples, "partial multiple")
        if len(set(self.multiples)) < count:
            raise BadValue("a timbre has each partial multiple once")
        if not 0 <= self.decay_db_per_second <= STEEPEST_DECAY_DB_PER_SECOND:  # false for NaN as well
            raise BadValue(
                f"decay {self.decay_db_per_second:g} dB per second is out of range; "
                f"give 0 (sustained) to {STEEPEST_DECAY_DB_PER_SECOND:g}"
            )
        if max(self.multiples) > HIGHEST_MULTIPLE:
            raise BadValue(
                f"partial multiple {max(self.multiples):g} is out of range; give at most {HIGHEST_MULTIPLE:g}"
            )
        if not 0 <= self.stiffness <= STIFFEST:  # false for NaN as well
            raise BadValue(
                f"stiffness {self.stiffness:g} is out of range; give 0 to {STIFFEST:g}, such as 0.00003"
            )
        total = float(np.abs(self.levels).sum())
        if not 0 < total < np.inf:
            raise BadValue("a timbre needs at least one partial that sounds")
        object.__setattr__(self, "multiples", tuple(float(multiple) for multiple in self.multiples))
        turned = tuple(
            float(turns) + 0.5 * (level < 0) for turns, level in zip(phases, self.levels, strict=True)
        )
        object.__setattr__(self, "levels", tuple(abs(float(level)) / total for level in self.levels))
        object.__setattr__(self, "phases_turns", turned)

    @classmethod
    def sloped(
        cls,
        partials: int,
        slope_db_per_octave: float,
        *,
        decay_db_per_second: float = 0.0,
        stiffness: float = 0.0,
        follows_string: bool = False,
    ) -> "Timbre":
        """The first `partials` whole multiples, each octave `slope_db_per_octave` louder than the one below.

        Raises BadValue for a count or a slope that makes no sense.

        >>> [round(level, 3) for level in Timbre.sloped(2, -6.0206).levels]  # the second at half the level
        [0.667, 0.333]
        """
        if not 1 <= partials <= MOST_PARTIALS:
            raise BadValue(f"a timbre has 1 to {MOST_PARTIALS} partials, not {partials}")
        if not -120 <= slope_db_per_octave <= 24:  # false for NaN as well
            raise BadValue(f"slope {slope_db_per_octave:g} dB per octave is out of range; give -120 to 24")
        multiples = np.arange(1.0, partials + 1)
        levels = linear_from_db(slope_db_per_octave * np.log2(multiples))
        return cls(
            tuple(multiples.tolist()),
            tuple(levels.tolist()),
            decay_db_per_second=decay_db_per_second,
            stiffness=stiffness,
            follows_string=follows_string,
        )

    def stiffness_on(self, string_stiffness: float | None) -> float:
        """B of the partials on a string whose own B this is; None where it is not known, or no string."""
        if self.follows_string and string_stiffness is not None:
            return string_stiffness
        return self.stiffness


PURE: Final = Timbre((1.0,), (1.0,))


@dataclass(frozen=True, slots=True)
class Tone:
    """A timbre at a frequency.

    hz : of the first partial
    level : linear, 0 to 1, of the share that this tone may have
    stiffness : B of the string that it stands for; None where that is not known
    only : the partials that are heard, by number; None for all
    name : by which the player knows the tone again, to glide it; the tone's place in the list when empty
    Raises BadValue for numbers that make no sense.
    """

    hz: float
    timbre: Timbre = PURE
    level: float = 1.0
    place: Place = Place.BOTH
    stiffness: float | None = None
    only: frozenset[int] | None = None
    name: str = ""

    def __post_init__(self) -> None:
        """Check the numbers."""
        checked_hz(self.hz)
        if not 0 <= self.level <= 1:  # false for NaN as well
            raise BadValue(f"level {self.level:g} of a tone is out of range; give 0 to 1")
        if self.stiffness is not None:
            partial_hz(1.0, 1.0, self.stiffness)

    def partial_multiples(self) -> NDArray[np.float64]:
        """Frequency of each partial over `hz`, with the stiffness of the string or of the timbre.

        >>> from tonegen.presets import timbre
        >>> Tone(220.0, timbre("harmonic")).partial_multiples()[:4].tolist()
        [1.0, 2.0, 3.0, 4.0]
        """
        return partial_hz(1.0, self.timbre.multiples, self.timbre.stiffness_on(self.stiffness))

    def heard_levels(self) -> NDArray[np.float64]:
        """Level of each partial in the timbre's own scale: 0 for those that `only` leaves out."""
        levels = np.array(self.timbre.levels)
        if self.only is not None:
            levels[~np.isin(self.timbre.multiples, list(self.only))] = 0.0
        return levels


def beating_only(
    tones: Sequence[Tone], pairs: Iterable[tuple[int, int, Ratio]], multiple: int = 1
) -> tuple[Tone, ...]:
    """The same tones, of which only the partials that beat with each other are heard.

    pairs : index of the low tone, index of the high tone, and the ratio that they stand for.
    multiple : which coincident pair of each, 1 for the lowest.
    The partials keep the levels that they have in the whole sound, so that the ear finds them there again.
    A tone of no pair falls silent.

    >>> low, high = beating_only([Tone(220), Tone(275)], [(0, 1, Ratio(5, 4))])
    >>> sorted(low.only), sorted(high.only)
    ([5], [4])
    """
    heard: list[set[int]] = [set() for _ in tones]
    for low, high, ratio in pairs:
        heard[low].add(ratio.upper * multiple)
        heard[high].add(ratio.lower * multiple)
    return tuple(replace(tone, only=frozenset(only)) for tone, only in zip(tones, heard, strict=True))


def linear_from_db(level_db: ArrayLike) -> NDArray[np.float64]:
    """Amplitude of a level in dB.

    >>> float(linear_from_db(-20))
    0.1
    """
    return np.asarray(10.0 ** (np.asarray(level_db, dtype=np.float64) / 20))
