"""Counts of beats whose side nobody noted: on which side each was.

A count does not say whether the string is higher or lower. The readings of the string decide together: the
sides that fit best, and of those that fit as well the ones where it sags, least first, as cabinets do.
"""

from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.dropfit.equations import equations
from tonegen.dropfit.readings import PitchReading
from tonegen.instrument import Instrument

# Cabinets rise by no more, and sag by about so much (common practice, no source: 2 to 10 cents).
_RISES_CENTS: Final = 0.3
_SAGS_CENTS: Final = 6.0
_MOST_TOGETHER: Final = 8  # more are tried one by one
# Sides that fit better by less than this (in squares, so three standard errors) are as likely the other way.
_SURELY: Final = 9.0


def sided(
    instrument: Instrument, readings: Sequence[PitchReading], meter_cents: float
) -> tuple[tuple[PitchReading, ...], NDArray[np.bool_]]:
    """The readings of one string with their sides chosen, and which of these could as well be the other.

    >>> from tonegen.presets import instrument
    >>> read = [PitchReading(8, (), 0.0), PitchReading(8, ("A",), 2.2, other_cents=-2.2)]
    >>> [each.cents for each in sided(instrument("e9-ten-string"), read, 0.1)[0]]
    [0.0, -2.2]
    """
    taken = list(readings)
    unknown = [index for index, each in enumerate(taken) if each.other_cents is not None]
    unsure = np.zeros(len(taken), dtype=bool)
    if not unknown:
        return tuple(taken), unsure
    fit = equations(instrument, readings[0].string, taken, meter_cents)
    cents = fit.cents.copy()
    both = {index: (taken[index].cents, taken[index].other_cents) for index in unknown}

    def cost(values: NDArray[np.float64]) -> float:
        """Squared errors, and how unlike a cabinet the drops are."""
        rows = fit.rows * fit.weight[:, None]
        found = np.linalg.pinv(rows) @ (values * fit.weight)
        drops = found[len(fit.points) : len(fit.points) + len(fit.changes)]
        left = (values - fit.rows @ found) * fit.weight
        rises = np.maximum(drops, 0) / _RISES_CENTS
        return float(left @ left + rises @ rises + np.square(drops / _SAGS_CENTS).sum())

    def chosen(indices: Sequence[int]) -> NDArray[np.float64]:
        """The best sides of these."""
        tried = []
        for values in product(*(both[index] for index in indices)):
            one = cents.copy()
            one[list(indices)] = values
            tried.append(one)
        return min(tried, key=cost)

    if len(unknown) <= _MOST_TOGETHER:
        cents = chosen(unknown)
    else:
        for index in unknown * 2:
            cents = chosen([index])
    least = cost(cents)
    for index in unknown:
        other = cents.copy()
        other[index] = sum(value for value in both[index] if value is not None) - cents[index]
        unsure[index] = other[index] != cents[index] and cost(other) - least < _SURELY
        taken[index] = replace(taken[index], cents=float(cents[index]), other_cents=float(other[index]))
    return tuple(taken), unsure
