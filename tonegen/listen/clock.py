"""How fast the clock of a sound card runs, from when its blocks came."""

from dataclasses import dataclass
from math import log
from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

CENTS_A_PPM: Final = 1200 / log(2) * 1e-6
USUAL_PPM: Final = 50.0  # standard deviation of a crystal that nobody measured: 20 to 100 (from memory)
_BINS: Final = 40


@dataclass(frozen=True, slots=True)
class CardClock:
    """By how many millionths a card runs fast, and the standard deviation of that."""

    ppm: float = 0.0
    error_ppm: float = USUAL_PPM

    @property
    def cents(self) -> float:
        """What this card makes of a pitch of 0 cents, to be added to what is heard by it.

        >>> round(CardClock(58.0, 1.0).cents, 2)
        0.1
        """
        return self.ppm * CENTS_A_PPM

    @property
    def error_cents(self) -> float:
        """What the doubt about the clock adds to that about a pitch."""
        return self.error_ppm * CENTS_A_PPM


def card_clock(frames: Array, seconds: Array, sample_rate: int, missing: Array | None = None) -> CardClock:
    """The clock of a card of which so many frames had come at these times of a clock that is right.

    frames, seconds (n,), n at least 80. missing (n,): how often sound was lost before each, if it was: what
    comes between two of those is a stretch of its own. Blocks come late, never early: of each fortieth of the
    time the one that came soonest is believed, and lines of one slope are laid through the stretches.
    """
    late = seconds - seconds[0] - (frames - frames[0]) / sample_rate
    _, stretch = np.unique(np.zeros(len(late)) if missing is None else missing, return_inverse=True)
    parts = [
        part
        for number in range(stretch.max() + 1)
        for places in [np.flatnonzero(stretch == number)]
        for part in np.array_split(places, max(1, round(_BINS * len(places) / len(late))))
    ]
    soonest = np.array([part[np.argmin(late[part])] for part in parts])
    at, off, of = seconds[soonest], late[soonest], stretch[soonest]
    line = np.concatenate([np.eye(stretch.max() + 1)[of], (at - at.mean())[:, np.newaxis]], axis=1)
    found, *_ = np.linalg.lstsq(line, off, rcond=None)
    left = off - line @ found
    free = max(len(off) - line.shape[1], 1)
    spread = float(np.linalg.pinv(line.T @ line)[-1, -1])
    slope_error = np.sqrt(left @ left / free * spread)
    return CardClock(-float(found[-1]) * 1e6, max(float(slope_error) * 1e6, 1e-3))
