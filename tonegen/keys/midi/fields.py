"""What fits into data fields: seven bits, a channel, cents as whole steps; and what rounding leaves.

A field of so many bits holds whole steps only; what rounding lost comes back as `left_cents`, which is asked
minus sent, at most half a step inside the field's range.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonegen.errors import BadValue
from tonegen.frozen import Frozen


@dataclass(frozen=True, slots=True)
class Steps:
    """The whole steps that a data field holds, 0 to `highest`; `centre` stands for no offset."""

    step_cents: float
    centre: int
    highest: int

    def nearest(self, cents: ArrayLike) -> NDArray[np.int64]:
        """The step nearest to `cents`; the field's end where they lie beyond it."""
        steps = np.rint(np.asarray(cents, dtype=np.float64) / self.step_cents) + self.centre
        return np.asarray(np.clip(steps, 0, self.highest), dtype=np.int64)

    def cents(self, steps: ArrayLike) -> NDArray[np.float64]:
        """What `steps` stand for."""
        return (np.asarray(steps, dtype=np.float64) - self.centre) * self.step_cents

    def checked(
        self, cents: ArrayLike, what: str, cure: str
    ) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
        """The nearest steps and the cents left. Raises BadValue when the field cannot hold `cents`.

        A field with a step in its centre ends one step short above; full up is taken as that last step,
        as the MPE standard has it.
        """
        asked = np.asarray(cents, dtype=np.float64)
        lowest = -(self.centre + 0.5) * self.step_cents
        highest = (self.highest - self.centre + 1) * self.step_cents
        wrong = ~((asked >= lowest) & (asked <= highest))  # true for NaN as well
        if wrong.any():
            first = np.atleast_1d(asked)[np.atleast_1d(wrong)][0]
            raise BadValue(f"{what} cannot hold {first:.6g} cents; {cure}")
        steps = self.nearest(asked)
        return steps, asked - self.cents(steps)


def bend_steps(range_semitones: float) -> Steps:
    """Steps of a pitch bend whose full travel is `range_semitones` each way.

    Raises BadValue for a range outside 1 to 96 semitones.

    >>> bend_steps(2).step_cents
    0.0244140625
    """
    if not 1 <= range_semitones <= 96:
        raise BadValue(f"bend range {range_semitones:g} is out of range; give 1 to 96 semitones")
    return Steps(100 * range_semitones / 8192, 8192, 16383)


FINE_STEPS: Final = Steps(100 / 8192, 8192, 16383)
COARSE_STEPS: Final = Steps(100, 64, 127)
OCTAVE_STEPS: Final = Steps(1, 64, 127)
FINE_OCTAVE_STEPS: Final = Steps(100 / 8192, 8192, 16383)
# Cents above key 0, not an offset. The highest word, 7F 7F 7F, means "leave this key as it is".
KEY_STEPS: Final = Steps(100 / 16384, 0, (1 << 21) - 2)
NO_CHANGE: Final = (1 << 21) - 1


@dataclass(frozen=True, slots=True)
class Encoded(Frozen):
    """Messages, and for each value that they carry the cents that rounding left: asked minus sent."""

    messages: tuple[bytes, ...]
    left_cents: NDArray[np.float64]


def seven_bits(value: int, what: str) -> int:
    """The value. Raises BadValue for one that seven bits cannot hold."""
    if not 0 <= value <= 127:
        raise BadValue(f"{what} {value} is out of range; give 0 to 127")
    return value


def nibble(channel: int) -> int:
    """The four bits that stand for a channel. Raises BadValue for one that does not exist."""
    if not 1 <= channel <= 16:
        raise BadValue(f"channel {channel} does not exist; channels are 1 to 16")
    return channel - 1
