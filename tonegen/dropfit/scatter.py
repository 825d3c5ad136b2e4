"""How far the readings of one string scatter, and what is more than scatter.

The readings of a string are few, so that their own scatter is poorly known; what the meter claims is the
knowledge that one starts with. No string tells another how good its readings are.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from tonegen.dropfit.equations import Equations, Mask

# Three standard errors are meant to hold 99.73 % of the time, however few readings there are.
_THREE_SIGMA: Final = 0.9973002039367398
# Readings contradict what the meter claims when so few sets of good ones would scatter as much.
_CONTRADICTED: Final = 0.01
# The meter's claim counts as so many readings to spare, where those that are read contradict it.
_CLAIM_COUNTS_AS: Final = 3
# A combination is believed where noise alone would look like one on so few strings.
_FALSE_ALARM: Final = 0.001
_ARITHMETIC_CENTS: Final = 1e-9  # of exact readings; less is the computer's rounding


@dataclass(frozen=True, slots=True)
class Scatter:
    """How far the readings of a string scatter, in units of their own standard errors.

    squares : the sum of squares that is left. spare : readings more than the unknowns need.
    rounding : standard deviation of what their last digit takes away.
    """

    squares: float
    spare: int
    rounding: float

    @property
    def own(self) -> float:
        """Root mean square of what is left; 0 where nothing is to spare.

        >>> Scatter(8.0, 2, 0.0).own
        2.0
        """
        return float(np.sqrt(self.squares / self.spare)) if self.spare else 0.0

    @property
    def inflation(self) -> float:
        """By how much standard errors are larger than the meter claims; never smaller.

        The Birge ratio sqrt(squares / spare) where that may be chance. Where it is not (chi-squared at 1 %),
        the claim counts as 3 readings beside those to spare, and Student's t replaces the normal one.
        Source: R. T. Birge, Physical Review 40 (1932) 207; a scaled inverse chi-squared prior, Gelman et al.,
        Bayesian Data Analysis, section 2.6; both from memory.

        >>> Scatter(0.0, 4, 0.0).inflation, Scatter(5.0, 4, 0.0).inflation
        (1.0, 1.118033988749895)
        >>> round(Scatter(50.0, 1, 0.0).inflation, 2)  # two readings that contradict each other
        8.03
        """
        from scipy.special import chdtrc, stdtrit

        if not self.spare or chdtrc(self.spare, self.squares) > _CONTRADICTED:
            return max(1.0, self.own)
        free = _CLAIM_COUNTS_AS + self.spare
        student = float(stdtrit(free, (1 + _THREE_SIGMA) / 2)) / 3
        return float(np.sqrt((_CLAIM_COUNTS_AS + self.squares) / free)) * student

    def is_more(self, cents: float, standard_error_cents: float, tests: int) -> bool:
        """Whether a figure is more than noise. standard_error_cents : as the meter claims, not inflated.

        Two tests, at half of 0.001 each and divided by how many figures are tested (Bonferroni): against the
        stated error by the normal distribution, or against the readings' own scatter by Student's t, which is
        the F test of one more unknown (Draper & Smith, Applied Regression Analysis, from memory). The own
        scatter is not taken for less than the last digit of the readings.

        >>> Scatter(0.0, 0, 0.0).is_more(-0.5, 0.2, 1), Scatter(0.0, 0, 0.0).is_more(-0.8, 0.2, 1)
        (False, True)
        >>> Scatter(0.0, 4, 0.0).is_more(-0.01, 0.2, 1)  # readings that agree wholly, with their last digit
        True
        """
        from scipy.special import ndtri, stdtrit

        likely = 1 - _FALSE_ALARM / (4 * tests)
        if abs(cents) > float(ndtri(likely)) * standard_error_cents * self.inflation:
            return True
        if not self.spare:
            return False
        own = max(self.own, self.rounding) * standard_error_cents + _ARITHMETIC_CENTS
        return abs(cents) > float(stdtrit(self.spare, likely)) * own


def scatter(fit: Equations, kept: Mask) -> Scatter:
    """The scatter of the readings of a string that are kept.

    >>> from tonegen.dropfit.equations import equations
    >>> from tonegen.dropfit.readings import PitchReading
    >>> from tonegen.presets import instrument
    >>> read = [PitchReading(8, (), cents) for cents in (3.0, 3.2)]
    >>> fit = equations(instrument("e9-ten-string"), 8, read, 0.1)
    >>> round(scatter(fit, fit.all()).own, 3)
    1.414
    """
    rounding = np.array([each.rounding_cents for each in fit.readings]) * fit.weight
    return Scatter(fit.squares(kept), fit.spare(kept), float(rounding[kept].max(initial=0.0)))
