"""Cabinet drop from readings of a pitch meter, taken with and without changes engaged, in any order.

A reading of string s in state P is the offset of the tuning point that P selects on s, plus the drop of s for
the engaged changes that do not move it. Both are unknown and both are fitted, each string by itself; readings
are robust to slips, and each figure comes with its standard error. Cents from equal temperament throughout.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np

from tonegen.drop import Drop, combinations_engaged
from tonegen.dropfit.equations import Array, Equations, Mask, Together, equations
from tonegen.dropfit.plan import NextReading, next_readings
from tonegen.dropfit.readings import FINEST_METER_CENTS, METER_CENTS, PitchReading
from tonegen.dropfit.scatter import Scatter, scatter
from tonegen.dropfit.sides import sided
from tonegen.dropfit.slips import slips
from tonegen.errors import BadValue
from tonegen.frozen import Frozen
from tonegen.instrument import Instrument, TuningPoint
from tonegen.words import signed

# A drop is taken to rise when it is above zero by so many of its standard errors.
_SURELY: Final = 3.0
# Two pedals together give less than their sum, by a third or so (common practice, no source). One reading
# that says more than this share of the sum is as likely a slip.
_USUAL_EXCESS: Final = 0.5


@dataclass(frozen=True, slots=True)
class FittedDrop:
    """Drop of a string for a change, negative when it sags."""

    string: int
    change: str
    cents: float
    standard_error_cents: float

    @property
    def rises(self) -> bool:
        """Whether the string surely goes up, which cabinets do not do: above zero by three standard errors.

        >>> FittedDrop(8, "A", 0.5, 0.1).rises, FittedDrop(8, "A", 0.2, 0.1).rises
        (True, False)
        """
        return self.cents > _SURELY * self.standard_error_cents


@dataclass(frozen=True, slots=True)
class FittedCombination:
    """Drop of a string for changes engaged together, where it is surely not the sum of their drops.

    cents : counted from where the string is tuned. sum_cents : what the changes give one by one, added.
    """

    string: int
    changes: tuple[str, ...]
    cents: float
    standard_error_cents: float
    sum_cents: float

    @property
    def taken_back(self) -> str:
        """What is said where a profile had a figure for it, and it is the sum after all."""
        engaged = "+".join(self.changes)
        return f"string {self.string} with {engaged}; it is the sum, {signed(self.sum_cents)} cents"


@dataclass(frozen=True, slots=True)
class FittedPoint:
    """Where a tuning point stands, as read with only its own changes engaged."""

    point: TuningPoint
    cents: float
    standard_error_cents: float


@dataclass(frozen=True, slots=True)
class Outlier:
    """A reading that does not fit the others.

    expected_cents : what the others say it should have been. refused : whether the fit leaves it out; those
    that contradict each other all stay in where nothing decides which is right, and widen the errors.
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

    @property
    def verdict(self) -> str:
        """Why it does not fit, as it is said to who read it."""
        if self.refused:
            return f"the others say {signed(self.expected_cents)}"
        return "may be the slip; it contradicts another reading"


class Doubt(StrEnum):
    """Why something should be read again."""

    SLIP = "does not fit the others"
    CONTRADICTS = "may be the slip of some that contradict each other"
    RISES = "the string would rise, and cabinets sag"
    SIDE = "higher or lower is not known"
    ALONE = "one reading alone says what these give together"


@dataclass(frozen=True, slots=True)
class ReadAgain:
    """A state of a string that should be read once more before anything else, and why."""

    string: int
    changes: tuple[str, ...]
    doubt: Doubt


@dataclass(frozen=True, slots=True)
class StringScatter:
    """How far the readings of a string scatter. spare : how many there are more than the unknowns need."""

    string: int
    cents: float
    spare: int


@dataclass(frozen=True, slots=True)
class DropFit:
    """What the readings say.

    sums : what was read with several changes, and may as well be the sum of their drops. undecided : (string,
    change) engaged in some reading, but not separable.
    """

    instrument: Instrument
    readings: tuple[PitchReading, ...]  # with their sides chosen
    drops: tuple[FittedDrop, ...]
    combinations: tuple[FittedCombination, ...]
    sums: tuple[FittedCombination, ...]
    points: tuple[FittedPoint, ...]
    outliers: tuple[Outlier, ...]
    undecided: tuple[tuple[int, str], ...]
    read_again: tuple[ReadAgain, ...]
    next_readings: tuple[NextReading, ...]
    scatters: tuple[StringScatter, ...]

    @property
    def rising(self) -> tuple[FittedDrop, ...]:
        """The drops that are doubted, since the string would rise; a profile leaves them out.

        >>> from tonegen.presets import instrument
        >>> readings = [PitchReading(8, (), 3.0), PitchReading(8, ("A",), 5.0)]
        >>> fit = fit_drop(instrument("e9-ten-string"), readings)
        >>> [each.change for each in fit.rising], fit.profile("mine").cents
        (['A'], {})
        """
        return tuple(each for each in self.drops if each.rises)

    def contradicted(self, saved: Drop) -> tuple[FittedCombination, ...]:
        """The sums where a profile has another figure, further off than three standard errors.

        >>> from tonegen.presets import instrument
        >>> read = [((), 3.0), (("A",), 0.7), (("B",), 1.5), (("A", "B"), -0.8)]
        >>> readings = [PitchReading(8, changes, cents) for changes, cents in read]
        >>> fit = fit_drop(instrument("e9-ten-string"), readings)
        >>> saved = Drop("mine", {}, {frozenset("AB"): {8: -2.7}})
        >>> [(each.string, each.changes, round(each.sum_cents, 1)) for each in fit.contradicted(saved)]
        [(8, ('A', 'B'), -3.8)]
        """
        return tuple(
            each
            for each in self.sums
            if (was := saved.combinations.get(frozenset(each.changes), {}).get(each.string)) is not None
            and abs(was - each.cents) > _SURELY * each.standard_error_cents
        )

    def profile(self, name: str) -> Drop:
        """The drops as a profile, without any that rises.

        >>> from tonegen.presets import instrument
        >>> readings = [PitchReading(8, (), 3.0), PitchReading(8, ("A",), 0.7)]
        >>> profile = fit_drop(instrument("e9-ten-string"), readings).profile("mine")
        >>> round(profile.of(8, {"A": 1.0}), 2)
        -2.3
        """
        cents: dict[str, dict[int, float]] = {}
        for drop in self.drops:
            if not drop.rises:
                cents.setdefault(drop.change, {})[drop.string] = drop.cents
        doubted = {(each.string, each.change) for each in self.rising}
        combinations: dict[Together, dict[int, float]] = {}
        for each in self.combinations:
            if not any((each.string, change) in doubted for change in each.changes):
                combinations.setdefault(frozenset(each.changes), {})[each.string] = each.cents
        title = f"Drop of {self.instrument.title or self.instrument.name}, as read"
        return Drop(name, cents, combinations, title)


@dataclass(frozen=True, slots=True)
class _StringFit(Frozen):
    """What the readings of one string say, and of nothing else."""

    equations: Equations
    kept: Mask
    scatter: StringScatter
    drops: tuple[FittedDrop, ...]
    combinations: tuple[FittedCombination, ...]
    sums: tuple[FittedCombination, ...]
    points: tuple[FittedPoint, ...]
    outliers: tuple[Outlier, ...]
    undecided: tuple[tuple[int, str], ...]
    read_again: tuple[ReadAgain, ...]


def fit_drop(
    instrument: Instrument, readings: Sequence[PitchReading], meter_cents: float = METER_CENTS
) -> DropFit:
    """Fit drop to readings: slips are found by least absolute values, figures by least squares of the others.

    meter_cents : standard deviation of one reading; the scatter of a string's own readings is used for that
    string when it is larger (`scatter`). What changes give together is a figure of its own, and becomes a
    combination of the profile where it surely differs from the sum (`Scatter.is_more`).
    Raises BadValue when there are no readings, or for an unknown string or change.

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
    numbers = [reading.string for reading in readings]
    taken = list(readings)
    fits = []
    for number in sorted(set(numbers)):
        indices = [index for index, each in enumerate(numbers) if each == number]
        instrument.string(number)
        of_string, unsure = sided(instrument, [readings[index] for index in indices], meter_cents)
        for index, reading in zip(indices, of_string, strict=True):
            taken[index] = reading
        fits.append(_of_string(instrument, of_string, unsure, meter_cents))
    again = sorted(
        (each for fit in fits for each in fit.read_again), key=lambda each: list(Doubt).index(each.doubt)
    )
    first_doubts: dict[tuple[int, tuple[str, ...]], ReadAgain] = {}
    for each in again:
        first_doubts.setdefault((each.string, each.changes), each)
    return DropFit(
        instrument,
        tuple(taken),
        tuple(each for fit in fits for each in fit.drops),
        tuple(each for fit in fits for each in fit.combinations),
        tuple(each for fit in fits for each in fit.sums),
        tuple(each for fit in fits for each in fit.points),
        tuple(each for fit in fits for each in fit.outliers),
        tuple(each for fit in fits for each in fit.undecided),
        tuple(first_doubts.values()),
        next_readings(instrument, [fit.equations for fit in fits], [fit.kept for fit in fits], meter_cents),
        tuple(fit.scatter for fit in fits),
    )


def _of_string(
    instrument: Instrument, readings: tuple[PitchReading, ...], unsure: Mask, meter_cents: float
) -> _StringFit:
    fit = equations(instrument, readings[0].string, readings, meter_cents)
    found = slips(fit)
    kept, doubted = ~found.refused, found.doubted.copy()
    cents, covariance, decided = fit.of(kept)
    spread = scatter(fit, kept)
    errors = np.sqrt(np.diag(covariance)) * spread.inflation
    expected = fit.rows @ cents
    first = len(fit.points)
    drops, undecided = [], []
    for index, change in enumerate(fit.changes, start=first):
        if decided[index]:
            drops.append(FittedDrop(fit.string, change, float(cents[index]), float(errors[index])))
        else:
            undecided.append((fit.string, change))
    combinations, sums = _together(instrument, fit, kept, spread)
    again = [ReadAgain(fit.string, (each.change,), Doubt.RISES) for each in drops if each.rises]
    for each in combinations:
        read = _read_in(fit, kept, frozenset(each.changes))
        if len(read) > 1:
            continue
        again.append(ReadAgain(fit.string, each.changes, Doubt.ALONE))
        # Where a change of its own moves the string, what that one gives is in the tuning, not in the sum.
        alone = set(each.changes) <= set(fit.changes)
        if alone and abs(each.cents - each.sum_cents) > _USUAL_EXCESS * abs(each.sum_cents):
            # As a sum, which of the readings could be the slip that makes it look like a combination?
            summed = equations(instrument, fit.string, readings, meter_cents, [frozenset(each.changes)])
            suspects = slips(summed)
            new = (suspects.doubted | suspects.refused) & kept & ~doubted
            expected = np.where(new, summed.rows @ summed.of(kept & ~new)[0], expected)
            doubted |= new
    outliers = [
        Outlier(readings[index], float(expected[index]), not kept[index])
        for index in np.flatnonzero(~kept | doubted)
    ]
    again += [
        ReadAgain(fit.string, each.reading.changes, Doubt.SLIP if each.refused else Doubt.CONTRADICTS)
        for each in outliers
    ]
    again += [ReadAgain(fit.string, readings[index].changes, Doubt.SIDE) for index in np.flatnonzero(unsure)]
    return _StringFit(
        fit,
        kept,
        StringScatter(fit.string, spread.own * meter_cents, spread.spare),
        tuple(drops),
        combinations,
        sums,
        tuple(
            FittedPoint(point, float(cents[index]), float(errors[index]))
            for index, point in enumerate(fit.points)
            if decided[index]
        ),
        tuple(outliers),
        tuple(undecided),
        tuple(again),
    )


def _together(
    instrument: Instrument, fit: Equations, kept: Mask, spread: Scatter
) -> tuple[tuple[FittedCombination, ...], tuple[FittedCombination, ...]]:
    """What is surely not the sum, of its changes or of smaller combinations and others; and what may be."""
    cents, covariance, decided = fit.of(kept)
    first, singles = len(fit.points), len(fit.points) + len(fit.changes)
    accepted: list[Together] = []
    combinations, sums = [], []
    for index, together in enumerate(fit.combinations, start=singles):
        alone = [first + at for at, change in enumerate(fit.changes) if change in together]
        if not (decided[alone].all() and decided[index]):
            continue
        smaller = [
            singles + fit.combinations.index(each) for each in combinations_engaged(together, accepted)
        ]
        more = _weights(len(cents), [index], minus=smaller)
        error = float(np.sqrt(more @ covariance @ more))
        total = _weights(len(cents), [*alone, index])
        read = FittedCombination(
            fit.string,
            tuple(change.name for change in instrument.changes if change.name in together),
            float(total @ cents),
            float(np.sqrt(total @ covariance @ total)) * spread.inflation,
            float(cents[alone].sum()),
        )
        if spread.is_more(float(more @ cents), error, len(fit.combinations)):
            accepted.append(together)
            combinations.append(read)
        else:
            sums.append(read)
    return tuple(combinations), tuple(sums)


def _weights(size: int, plus: Sequence[int], minus: Sequence[int] = ()) -> Array:
    weights = np.zeros(size)
    weights[list(plus)] = 1
    weights[list(minus)] = -1
    return weights


def _read_in(fit: Equations, kept: Mask, together: Together) -> list[PitchReading]:
    """The readings of a string that were taken with just these changes engaged."""
    return [
        fit.readings[index] for index in np.flatnonzero(kept) if set(fit.readings[index].changes) == together
    ]
