"""Which readings of a string do not fit its others.

Each string has a scatter of its own: a muddled one says nothing of its neighbours.
Source: least absolute values to find what is far from the others, then least squares of the rest, Rousseeuw &
Leroy, Robust Regression and Outlier Detection (1987).
"""

from dataclasses import dataclass
from typing import Final

import numpy as np

from tonegen.dropfit.equations import Array, Equations, Mask
from tonegen.frozen import Frozen

# A reading further than this many standard deviations from the others is taken for a slip.
SLIP: Final = 4.5
# With fewer to spare the median says nothing of the scatter, and the meter's own claim has to do.
_ENOUGH_TO_SPARE: Final = 3
_NORMAL_PER_MEDIAN: Final = 1.4826  # standard deviation of a normal distribution by its median absolute error


@dataclass(frozen=True, slots=True)
class Slips(Frozen):
    """Readings of a string that do not fit.

    refused : slips, since all the others agree without them. doubted : those that contradict each other, any
    of which may be the slip; they stay in.
    """

    refused: Mask
    doubted: Mask


def slips(fit: Equations) -> Slips:
    """The slips among the readings of a string, and what may be one.

    Suspects are those far from the fit of least absolute values. One is a slip only when the others decide
    what it should have been, and it is far from that. When some other reading could as well be the wrong one,
    each of them is doubted.

    >>> from tonegen.dropfit.equations import equations
    >>> from tonegen.dropfit.readings import PitchReading
    >>> from tonegen.presets import instrument
    >>> read = [PitchReading(8, (), cents) for cents in (3.0, 3.1, 8.9)]
    >>> slips(equations(instrument("e9-ten-string"), 8, read, 0.1)).refused.tolist()
    [False, False, True]
    """
    if fit.squares(fit.all()) <= SLIP**2:  # one reading so far off would add more by itself
        nothing = np.zeros(len(fit.readings), dtype=bool)
        return Slips(nothing, nothing)
    error = (fit.cents - fit.rows @ _least_absolute(fit)) * fit.weight
    spare = fit.spare(fit.all())
    scale = 1.0
    if spare >= _ENOUGH_TO_SPARE:
        # As many errors are 0 as there are unknowns; the others tell the scatter.
        told = np.sort(np.abs(error))[-spare:]
        scale = max(1.0, _NORMAL_PER_MEDIAN * float(np.median(told)))
    good = fit.all()
    for suspect in np.argsort(-np.abs(error)):
        if abs(error[suspect]) <= SLIP * scale / 2:
            break
        without = good.copy()
        without[suspect] = False
        if fit.spare(good) > fit.spare(without):
            good = without
    for suspect in np.flatnonzero(~good):
        cents, covariance, _ = fit.of(good)
        row = fit.rows[suspect]
        expected_error = scale * np.sqrt(1 / fit.weight[suspect] ** 2 + row @ covariance @ row)
        if abs(fit.cents[suspect] - row @ cents) <= SLIP * expected_error:
            good[suspect] = True
    refused, doubted = ~good, np.zeros(len(good), dtype=bool)
    for suspect in np.flatnonzero(~good):
        others = _could_be_wrong_instead(fit, good, int(suspect), scale)
        if others:
            refused[suspect] = False
            doubted[suspect] = True
            doubted[others] = True
    return Slips(refused, doubted)


def _could_be_wrong_instead(fit: Equations, good: Mask, suspect: int, scale: float) -> list[int]:
    """The readings of which one, left out instead of this, would make all fit as well."""
    found = []
    for other in np.flatnonzero(good):
        swapped = good.copy()
        swapped[other], swapped[suspect] = False, True
        if fit.spare(swapped) == fit.spare(good):
            cents, _, _ = fit.of(swapped)
            error = np.abs(fit.cents - fit.rows @ cents) * fit.weight
            if error[swapped].max() <= SLIP * scale:
                found.append(int(other))
    return found


def _least_absolute(fit: Equations) -> Array:
    """The unknowns with the least sum of absolute errors, by HiGHS."""
    from scipy.optimize import linprog

    count, size = fit.rows.shape
    rows = fit.rows * fit.weight[:, None]
    solved = linprog(
        np.concatenate([np.zeros(size), np.ones(2 * count)]),
        A_eq=np.hstack([rows, np.eye(count), -np.eye(count)]),
        b_eq=fit.cents * fit.weight,
        bounds=[(None, None)] * size + [(0, None)] * (2 * count),
    )
    return np.asarray(solved.x[:size])
