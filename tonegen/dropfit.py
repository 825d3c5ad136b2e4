"""Cabinet drop from readings of a pitch meter, taken with and without changes engaged, in any order.

A reading of string s in state P is the offset of the tuning point that P selects on s, plus the drop of s for
every engaged change that does not move it. Both are unknown and both are fitted, string by string; readings
are robust to slips, and each figure comes with its standard error. Cents from equal temperament throughout.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.drop import Drop
from tonegen.errors import BadValue
from tonegen.frozen import Frozen
from tonegen.instrument import Instrument, TuningPoint

Array = NDArray[np.float64]

# What a careful reading of a usual meter is good to (common practice, no source).
METER_CENTS: Final = 0.1
FINEST_METER_CENTS: Final = 0.001  # finer than any; the equations stay solvable
# A reading further than this many standard deviations from the others is taken for a slip.
_SLIP: Final = 4.5
# How far a string is expected to sag before anything is read (common practice, no source: 2 to 10 cents).
_EXPECTED_DROP_CENTS: Final = 6.0
_EXPECTED_OFFSET_CENTS: Final = 30.0
_NEXT_READINGS: Final = 5
_RANK: Final = 1e-10
# Three standard errors are meant to hold 99.73 % of the time, however few readings there are.
_THREE_SIGMA: Final = 0.9973002039367398


@dataclass(frozen=True, slots=True)
class PitchReading:
    """What was read on a string in a state, in cents from equal temperament of the note that it stands for.

    place : where it was written, for the messages. error_cents : how good it is; that of the meter if None.
    """

    string: int
    changes: tuple[str, ...]
    cents: float
    place: str = ""
    error_cents: float | None = None


@dataclass(frozen=True, slots=True)
class FittedDrop:
    """Drop of a string for a change, negative when it sags."""

    string: int
    change: str
    cents: float
    standard_error_cents: float


@dataclass(frozen=True, slots=True)
class FittedPoint:
    """Where a tuning point stands, as read with only its own changes engaged."""

    point: TuningPoint
    cents: float
    standard_error_cents: float


@dataclass(frozen=True, slots=True)
class Outlier:
    """A reading that does not fit the others.

    expected_cents : what the others say it should have been. refused : whether the fit leaves it out; one
    that contradicts another stays in where nothing decides which is right, and widens the errors.
    """

    reading: PitchReading
    expected_cents: float
    refused: bool

    @property
    def off_cents(self) -> float:
        """How far it lies from what was expected.

        >>> round(Outlier(PitchReading(8, (), 6.0), 0.7, True).off_cents, 2)
        5.3
        """
        return self.reading.cents - self.expected_cents


@dataclass(frozen=True, slots=True)
class NextReading:
    """A reading that would help. gain_cents : by how much the standard errors of this string would shrink."""

    string: int
    changes: tuple[str, ...]
    gain_cents: float


@dataclass(frozen=True, slots=True)
class DropFit:
    """What the readings say. undecided : (string, change) engaged in some reading, but not separable."""

    instrument: Instrument
    drops: tuple[FittedDrop, ...]
    points: tuple[FittedPoint, ...]
    outliers: tuple[Outlier, ...]
    undecided: tuple[tuple[int, str], ...]
    next_readings: tuple[NextReading, ...]
    scatter_cents: float

    def profile(self, name: str) -> Drop:
        """The drops as a profile.

        >>> from tonegen.presets import instrument
        >>> readings = [PitchReading(8, (), 3.0), PitchReading(8, ("A",), 0.7)]
        >>> profile = fit_drop(instrument("e9-ten-string"), readings).profile("mine")
        >>> round(profile.of(8, {"A": 1.0}), 2)
        -2.3
        """
        cents: dict[str, dict[int, float]] = {}
        for drop in self.drops:
            cents.setdefault(drop.change, {})[drop.string] = drop.cents
        return Drop(name, cents, title=f"Drop of {self.instrument.title or self.instrument.name}, as read")


@dataclass(frozen=True, slots=True)
class _StringFit(Frozen):
    """The equations of one string: unknown are its points, then its drops; rows and readings by weight."""

    string: int
    points: tuple[TuningPoint, ...]
    changes: tuple[str, ...]
    rows: Array
    cents: Array
    weight: Array
    readings: tuple[PitchReading, ...]

    def of(self, kept: NDArray[np.bool_]) -> tuple[Array, Array, NDArray[np.bool_]]:
        """Unknowns, their covariance, and which of them these readings decide."""
        rows = self.rows[kept] * self.weight[kept, None]
        inverse = np.linalg.pinv(rows, rcond=_RANK)
        decided = np.abs(np.eye(rows.shape[1]) - inverse @ rows).max(axis=1, initial=0.0) < 1e-8
        return inverse @ (self.cents[kept] * self.weight[kept]), inverse @ inverse.T, decided

    def spare(self, kept: NDArray[np.bool_]) -> int:
        """How many of these readings are more than the unknowns need."""
        return int(kept.sum() - np.linalg.matrix_rank(self.rows[kept]))


def fit_drop(
    instrument: Instrument, readings: Sequence[PitchReading], meter_cents: float = METER_CENTS
) -> DropFit:
    """Fit drop to readings: least absolute values find the slips, least squares of the others the figures.

    meter_cents : standard deviation of one reading; the scatter of the readings themselves is used when it
    is larger. Raises BadValue when there are no readings, or for an unknown string or change.
    Source: reweighted least squares, Rousseeuw & Leroy, Robust Regression and Outlier Detection (1987).

    >>> from tonegen.presets import instrument
    >>> readings = [PitchReading(8, (), 3.0), PitchReading(8, ("A",), 0.7)]
    >>> fit = fit_drop(instrument("e9-ten-string"), readings)
    >>> [(each.string, each.change, round(each.cents, 2)) for each in fit.drops]
    [(8, 'A', -2.3)]
    """
    if not readings:
        raise BadValue("no readings; write at least one with a change engaged and one without")
    if not FINEST_METER_CENTS <= meter_cents <= 100:  # false for NaN as well
        raise BadValue(
            f"a meter cannot be accurate to {meter_cents:g} cents; give {FINEST_METER_CENTS:g} to 100"
        )
    fits = [
        _equations(instrument, number, tuple(each for each in readings if each.string == number), meter_cents)
        for number in sorted({reading.string for reading in readings})
    ]
    slips, doubtful = _slips(fits)
    kept = [~each for each in slips]
    scatter, spare = _scatter(fits, kept)
    # In units of each reading's own error: 1 when they are as good as they claim.
    inflation = max(1.0, scatter * _student(spare))
    drops, points, undecided, outliers = [], [], [], []
    for fit, good, doubted in zip(fits, kept, doubtful, strict=True):
        cents, covariance, decided = fit.of(good)
        errors = np.sqrt(np.diag(covariance)) * inflation
        for index, point in enumerate(fit.points):
            if decided[index]:
                points.append(FittedPoint(point, float(cents[index]), float(errors[index])))
        for index, change in enumerate(fit.changes, start=len(fit.points)):
            if decided[index]:
                drops.append(FittedDrop(fit.string, change, float(cents[index]), float(errors[index])))
            else:
                undecided.append((fit.string, change))
        for slip in np.flatnonzero(~good | doubted):
            expected = float(fit.rows[slip] @ cents)
            outliers.append(Outlier(fit.readings[slip], expected, not good[slip]))
    return DropFit(
        instrument,
        tuple(drops),
        tuple(points),
        tuple(outliers),
        tuple(undecided),
        _next_readings(instrument, fits, kept, meter_cents),
        scatter * meter_cents,
    )


def _equations(
    instrument: Instrument, string: int, readings: tuple[PitchReading, ...], meter_cents: float
) -> _StringFit:
    instrument.string(string)
    states = [instrument.state(reading.changes) for reading in readings]
    points = tuple(dict.fromkeys(instrument.point(string, state) for state in states))
    engaged = {name for state in states for name in state.changes}
    changes = tuple(name for name in _asides(instrument, string) if name in engaged)
    rows = np.zeros((len(readings), len(points) + len(changes)))
    for row, state in enumerate(states):
        rows[row, points.index(instrument.point(string, state))] = 1
        for name in state.changes:
            if name in changes:
                rows[row, len(points) + changes.index(name)] = 1
    return _StringFit(
        string,
        points,
        changes,
        rows,
        np.array([reading.cents for reading in readings]),
        np.array([1 / (reading.error_cents or meter_cents) for reading in readings]),
        readings,
    )


def _asides(instrument: Instrument, string: int) -> tuple[str, ...]:
    """The changes that do not move a string, and so can make it sag."""
    return tuple(change.name for change in instrument.changes if string not in change.semitones)


def _slips(fits: list[_StringFit]) -> tuple[list[NDArray[np.bool_]], list[NDArray[np.bool_]]]:
    """Which readings of each string are slips, and which are doubtful.

    Suspects are those far from the fit of least absolute values. One is a slip only when the others decide
    what it should have been, and it is far from that; it is doubtful when some other reading could as well be
    the wrong one of the two.
    """
    errors = [(fit.cents - fit.rows @ _least_absolute(fit)) * fit.weight for fit in fits]
    spare = sum(fit.spare(np.ones(len(fit.readings), dtype=bool)) for fit in fits)
    scale = 1.0
    if spare >= 3:
        # As many errors are 0 as there are unknowns; the others tell the scatter.
        told = np.sort(np.abs(np.concatenate(errors)))[-spare:]
        scale = max(1.0, 1.4826 * float(np.median(told)))
    slips, doubtful = [], []
    for fit, error in zip(fits, errors, strict=True):
        good = np.ones(len(fit.readings), dtype=bool)
        for suspect in np.argsort(-np.abs(error)):
            if abs(error[suspect]) <= _SLIP * scale / 2:
                break
            without = good.copy()
            without[suspect] = False
            if fit.spare(good) > fit.spare(without):
                good = without
        for suspect in np.flatnonzero(~good):
            cents, covariance, _ = fit.of(good)
            row = fit.rows[suspect]
            expected_error = scale * np.sqrt(1 / fit.weight[suspect] ** 2 + row @ covariance @ row)
            if abs(fit.cents[suspect] - row @ cents) <= _SLIP * expected_error:
                good[suspect] = True
        refused = ~good
        doubted = np.array([
            refused[index] and _could_be_right(fit, good, index, scale) for index in range(len(good))
        ], dtype=bool)  # fmt: skip
        slips.append(refused & ~doubted)
        doubtful.append(doubted)
    return slips, doubtful


def _could_be_right(fit: _StringFit, good: NDArray[np.bool_], suspect: int, scale: float) -> bool:
    """Whether leaving out some other reading instead of this one would make all fit as well."""
    for other in np.flatnonzero(good):
        swapped = good.copy()
        swapped[other], swapped[suspect] = False, True
        if fit.spare(swapped) == fit.spare(good):
            cents, _, _ = fit.of(swapped)
            error = np.abs(fit.cents - fit.rows @ cents) * fit.weight
            if error[swapped].max() <= _SLIP * scale:
                return True
    return False


def _least_absolute(fit: _StringFit) -> Array:
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


def _scatter(fits: list[_StringFit], kept: list[NDArray[np.bool_]]) -> tuple[float, int]:
    """Root mean square error of all strings together, each in its own units, and the readings to spare."""
    squares, spare = 0.0, 0
    for fit, good in zip(fits, kept, strict=True):
        cents, _, _ = fit.of(good)
        squares += float((((fit.cents - fit.rows @ cents) * fit.weight)[good] ** 2).sum())
        spare += fit.spare(good)
    return (float(np.sqrt(squares / spare)) if spare else 0.0), spare


def _student(spare: int) -> float:
    """How much wider than a normal distribution's three sigmas Student's is, for a scatter so well known."""
    from scipy.special import stdtrit

    return float(stdtrit(spare, (1 + _THREE_SIGMA) / 2)) / 3 if spare else 1.0


def _next_readings(
    instrument: Instrument, fits: list[_StringFit], kept: list[NDArray[np.bool_]], meter_cents: float
) -> tuple[NextReading, ...]:
    """The readings that would shrink the standard errors most, each after those before it are taken.

    Unknown figures start with the errors that one expects before anything is read, so that a string without
    a reading, and a drop that no reading separates, come by themselves.
    """
    read = {fit.string: fit.points for fit in fits}
    plans = {
        string.number: _Plan(instrument, string.number, read.get(string.number, ()), meter_cents)
        for string in instrument.strings
    }
    for fit, good in zip(fits, kept, strict=True):
        for index in np.flatnonzero(good):
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
        self._asides = _asides(instrument, string)
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
