"""What is kind to ears before and after: a steady tone to set the volume by, and when to rest."""

from typing import Final

from tonegen.ear.rendering import LOUDEST_RMS_DB, MADE_FOR_DBFS, HeldSound
from tonegen.ear.trials import TrialSound, sloping
from tonegen.interval import Ratio

# Common practice, no source: ears that listen closely tire after so long.
REST_AFTER_SECONDS: Final = 20 * 60.0
REST_HINT: Final = "You have been listening for 20 minutes. Give your ears a rest; tired ears hear less."

# The loudest that a trial or a lesson can be.
_STEADY: Final = TrialSound(
    chord=(Ratio(1, 1),),
    low_hz=220.0,
    moved=0,
    error_cents=0.0,
    levels_db=sloping(-6, 10),
    phases_turns=(tuple(number**2 / 20 % 1 for number in range(10)),),  # a flat crest
    seconds=2.0,
    level_db=MADE_FOR_DBFS + LOUDEST_RMS_DB,
)


def steady(sample_rate: int) -> HeldSound:
    """A steady tone, A3, for as long as it takes to set the volume."""
    return HeldSound(_STEADY, sample_rate)


class Rest:
    """Says once after every so many seconds of sound that ears could do with a rest."""

    def __init__(self) -> None:
        """Rested."""
        self._said = 0

    def due(self, sounded_seconds: float) -> bool:
        """Whether it is time to say so; `sounded_seconds` only grows."""
        before, self._said = self._said, int(sounded_seconds // REST_AFTER_SECONDS)
        return self._said > before
