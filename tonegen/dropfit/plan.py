"""Which readings would help most: what is not known yet, then what is known worst."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from tonegen.dropfit.equations import Array, Equations, Mask, asides
from tonegen.instrument import Instrument, TuningPoint

# How far a string is expected to sag before anything is read (common practice, no source: 2 to 10 cents).
_EXPECTED_DROP_CENTS: Final = 6.0
_EXPECTED_OFFSET_CENTS: Final = 30.0
_NEXT_READINGS: Final = 5


@dataclass(frozen=True, slots=True)
class NextReading:
    """A reading that would help. gain_cents : by how much the standard errors of this string would shrink."""

    string: int
    changes: tuple[str, ...]
    gain_cents: float


def next_readings(
    instrument: Instrument, fits: Sequence[Equations], kept: Sequence[Mask], meter_cents: float
) -> tuple[NextReading, ...]:
    """The readings that would shrink the standard errors most, each after those before it are taken.

    Unknown figures start with the errors that one expects before anything is read, so that a string without
    a reading, and a drop that no reading separates, come by themselves.

    >>> from tonegen.dropfit.equations import equations
    >>> from tonegen.dropfit.readings import PitchReading
    >>> from tonegen.presets import instrument
    >>> e9 = instrument("e9-ten-string")
    >>> fits = [equations(e9, number, [PitchReading(number, (), 0.0)], 0.1) for number in range(1, 10)]
    >>> first = next_readings(e9, fits, [each.all() for each in fits], 0.1)[0]
    >>> first.string, first.changes
    (10, ())
    """
    read = {fit.string: fit.points for fit in fits}
    plans = {
        string.number: _Plan(instrument, string.number, read.get(string.number, ()), meter_cents)
        for string in instrument.strings
    }
    for fit, good in zip(fits, kept, strict=True):
        singles = len(fit.points) + len(fit.changes)
        # What was read of a combination tells its own excess, and nothing of its parts.
        tells = ~fit.rows[:, singles:].any(axis=1)
        for index in np.flatnonzero(good & tells):
            plans[fit.string].take(fit.readings[index].changes, 1 / float(fit.weight[index]))
    best = {number: plan.best() for number, plan in plans.items()}
    chosen = []
    for _ in range(_NEXT_READINGS):
        number = max(best, key=lambda each: best[each][0])
        gain, changes = best[number]
        chosen.append(NextReading(number, changes, gain))
        plans[number].take(changes, meter_cents)
        best[number] = plans[number].best()
    return tuple(chosen)


class _Plan:
    """What is known of one string, as a covariance that shrinks with each reading taken."""

    def __init__(
        self, instrument: Instrument, string: int, points: Sequence[TuningPoint], meter_cents: float
    ) -> None:
        self._instrument, self._string, self._meter_cents = instrument, string, meter_cents
        self._asides = asides(instrument, string)
        self._points = list(dict.fromkeys([TuningPoint(string), *points]))
        errors = [_EXPECTED_OFFSET_CENTS] * len(self._points) + [_EXPECTED_DROP_CENTS] * len(self._asides)
        self._covariance = np.diag(np.square(errors))

    def take(self, changes: tuple[str, ...], error_cents: float) -> None:
        """Count a reading in."""
        self._covariance = self._after(changes, error_cents)

    def best(self) -> tuple[float, tuple[str, ...]]:
        """The gain in cents of the best next reading, and the changes to engage for it.

        Candidates are the open string, alone and with each change that does not move it.
        """
        now = _total(self._covariance)
        candidates: list[tuple[str, ...]] = [(), *((name,) for name in self._asides)]
        return max(
            ((now - _total(self._after(each, self._meter_cents)), each) for each in candidates),
            key=lambda gained: gained[0],
        )

    def _after(self, changes: tuple[str, ...], error_cents: float) -> Array:
        """The covariance once this has been read (the update of a Kalman filter)."""
        state = self._instrument.state(changes)
        row = np.zeros(len(self._covariance))
        row[self._points.index(self._instrument.point(self._string, state))] = 1
        for name in state.changes:
            if name in self._asides:
                row[len(self._points) + self._asides.index(name)] = 1
        moved = self._covariance @ row
        return np.asarray(self._covariance - np.outer(moved, moved) / (row @ moved + error_cents**2))


def _total(covariance: Array) -> float:
    """Sum of the standard errors."""
    return float(np.sqrt(np.maximum(np.diag(covariance), 0)).sum())
