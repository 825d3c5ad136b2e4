"""Transformed up-down staircases: harder after a row of right answers, easier after a wrong one.

Source: H. Levitt (1971), J. Acoust. Soc. Am. 49, 467-477. After n right answers in a row one step down, after
each wrong answer one step up: the levels settle where n right answers in a row are as likely as not.
"""

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np

from tonegen.errors import BadValue

# Factors between levels, by the number of reversals so far: coarse until the listener's range is found, then
# finer, 2^(1/4) at the end. Ending on half an octave puts the threshold 3 to 9 % low (simulated listeners).
_FACTORS: Final = (2.0, 2.0, 2**0.5, 2**0.5, 2**0.25)
_COARSE_REVERSALS: Final = len(_FACTORS) - 1


@dataclass(frozen=True, slots=True)
class Staircase:
    """An n-down-1-up staircase as it stands; `after` gives the next one.

    level : what to ask now, in cents (or whatever the level is), within `lowest` and `highest`.
    reversals : the levels at which the direction turned.

    >>> stairs = Staircase(down=2, level=20)
    >>> [stairs.after(True).after(True).level, stairs.after(False).level]
    [10.0, 40.0]
    """

    down: int
    level: float
    lowest: float = 0.1
    highest: float = 64.0
    reversals: tuple[float, ...] = ()
    in_a_row: int = 0
    heading: int = 0

    def __post_init__(self) -> None:
        """Refuse a staircase that cannot move."""
        if self.down < 1:
            raise BadValue(f"a staircase goes down after 1 or more right answers, not after {self.down}")
        if not 0 < self.lowest <= self.level <= self.highest < np.inf:
            raise BadValue(f"level {self.level:g} is not between {self.lowest:g} and {self.highest:g}")

    @property
    def target(self) -> float:
        """The probability of a right answer at which the levels settle: 0.5^(1/down)."""
        return float(0.5 ** (1 / self.down))

    def after(self, right: bool) -> "Staircase":
        """The staircase after one answer."""
        in_a_row = self.in_a_row + 1 if right else 0
        if right and in_a_row < self.down:
            return replace(self, in_a_row=in_a_row)
        heading = -1 if right else 1
        turned = self.heading != 0 and heading != self.heading
        reversals = (*self.reversals, self.level) if turned else self.reversals
        factor = _FACTORS[min(len(reversals), _COARSE_REVERSALS)]
        level = min(max(self.level * factor**heading, self.lowest), self.highest)
        return replace(self, level=level, reversals=reversals, in_a_row=0, heading=heading)

    def threshold(self) -> float:
        """Levitt's estimate: the mean, on a logarithmic scale, of the mid-run levels after the coarse steps.

        nan until there is one run of fine steps. It states no range: neighbouring runs are not independent
        (a t-range of them covers two times in three where it should 19 in 20); `bayes` gives the range.
        """
        fine = self.reversals[_COARSE_REVERSALS:]
        fine = fine[len(fine) % 2 :]
        if not fine:
            return float("nan")
        return float(np.exp(np.mean([np.log(a * b) / 2 for a, b in list(pairwise(fine))[::2]])))
