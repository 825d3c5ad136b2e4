"""A measured value with the range that its method says it lies in."""

from dataclasses import dataclass

from tonegen.errors import BadValue


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value, and the range that covers the truth in `confidence` of all such measurements."""

    value: float
    low: float
    high: float
    confidence: float

    def covers(self, truth: float) -> bool:
        """Whether the range holds `truth`."""
        return self.low <= truth <= self.high


def checked_confidence(confidence: float) -> float:
    """A confidence between 0 and 1, both left out. Raises BadValue for anything else."""
    if not 0 < confidence < 1:
        raise BadValue(f"a confidence of {confidence:g} is not possible; give a fraction such as 0.95")
    return confidence
