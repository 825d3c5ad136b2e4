"""What was read on a string, and how good it is."""

from dataclasses import dataclass
from math import sqrt
from typing import Final

# What a careful reading of a usual meter is good to (common practice, no source).
METER_CENTS: Final = 0.1
FINEST_METER_CENTS: Final = 0.001  # finer than any; the equations stay solvable


@dataclass(frozen=True, slots=True)
class PitchReading:
    """What was read on a string in a state, in cents from equal temperament of the note that it stands for.

    place : where it was written, for the messages. error_cents : how good it is; that of the meter if None.
    step_cents : the last digit in which it is written; 0 when it is not rounded.
    other_cents : what it is if a count of beats, whose side nobody noted, was on the other side.
    """

    string: int
    changes: tuple[str, ...]
    cents: float
    place: str = ""
    error_cents: float | None = None
    step_cents: float = 0.0
    other_cents: float | None = None

    @property
    def rounding_cents(self) -> float:
        """Standard deviation of what rounding takes away: a step / sqrt(12), of an even spread.

        >>> round(PitchReading(8, (), 3.0, step_cents=0.1).rounding_cents, 3)
        0.029
        """
        return self.step_cents / sqrt(12)

    def standard_error_cents(self, meter_cents: float) -> float:
        """Its own error if it has one, else the meter's, or that of its last digit where this is coarser.

        >>> PitchReading(8, (), 3.0).standard_error_cents(0.1)
        0.1
        """
        if self.error_cents is not None:
            return max(self.error_cents, FINEST_METER_CENTS)
        return max(meter_cents, self.rounding_cents)
