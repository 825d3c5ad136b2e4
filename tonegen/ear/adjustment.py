"""The method of adjustment: where a listener sets an interval, on the average and from time to time."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from tonegen.ear.estimate import Estimate, checked_confidence
from tonegen.errors import BadValue


@dataclass(frozen=True, slots=True)
class Settings:
    """What a row of settings says: the constant error (signed, wide positive) and the spread, in cents."""

    constant_error: Estimate
    spread: Estimate


def settings(errors_cents: ArrayLike, *, confidence: float = 0.95) -> Settings:
    """Constant error and spread of settings, each the error in cents of one setting from its target.

    The constant error is the mean with its t-range; the spread the standard deviation, freed of the bias that
    it has in small samples, with its chi-squared range. Both ranges are exact for normal errors (textbook
    formulae: constant c4, Student, chi-squared). Raises BadValue for fewer than two settings.

    >>> made = settings([1.0, 3.0, 2.0, 2.0])
    >>> made.constant_error.value, round(made.spread.value, 3)
    (2.0, 0.886)
    """
    from scipy.special import chdtri, gammaln, stdtrit

    checked_confidence(confidence)
    errors = np.asarray(errors_cents, dtype=np.float64)
    if errors.ndim != 1 or errors.size < 2 or not np.isfinite(errors).all():
        raise BadValue("two settings or more, each a finite number of cents, are needed to tell their spread")
    n = errors.size
    mean, deviation = float(errors.mean()), float(errors.std(ddof=1))
    reach = float(stdtrit(n - 1, (1 + confidence) / 2)) * deviation / n**0.5
    c4 = (2 / (n - 1)) ** 0.5 * float(np.exp(gammaln(n / 2) - gammaln((n - 1) / 2)))
    tail = (1 - confidence) / 2
    low, high = (deviation * ((n - 1) / float(chdtri(n - 1, one))) ** 0.5 for one in (tail, 1 - tail))
    return Settings(
        Estimate(mean, mean - reach, mean + reach, confidence),
        Estimate(deviation / c4, low, high, confidence),
    )
