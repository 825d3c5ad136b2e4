"""The equations of one string: a reading is where its point stands, plus the drop of the changes beside it.

A string in a state with changes engaged that do not move it sags by the sum of their drops, and by an excess
where they were read together: what the state's reading has beyond the sum. Every state that was read with
two or more changes has an excess of its own, so that what a cabinet gives for two pedals never bends the
figures of one; unless a change was read in no other way, and its drop is only known as a part of the sum.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.drop import combinations_engaged
from tonegen.dropfit.readings import PitchReading
from tonegen.frozen import Frozen
from tonegen.instrument import Instrument, TuningPoint

Array = NDArray[np.float64]
Mask = NDArray[np.bool_]
Together = frozenset[str]

_RANK: Final = 1e-10
_DECIDED: Final = 1e-8


@dataclass(frozen=True, slots=True)
class Equations(Frozen):
    """Unknown are the points, then the drops of single changes, then the excess of combinations.

    rows : (readings, unknowns). weight : 1 / standard error of each reading.
    """

    string: int
    points: tuple[TuningPoint, ...]
    changes: tuple[str, ...]
    combinations: tuple[Together, ...]
    rows: Array
    cents: Array
    weight: Array
    readings: tuple[PitchReading, ...]

    def of(self, kept: Mask) -> tuple[Array, Array, Mask]:
        """Unknowns by weighted least squares, their covariance, and which of them these readings decide."""
        rows = self.rows[kept] * self.weight[kept, None]
        inverse = np.linalg.pinv(rows, rcond=_RANK)
        decided = np.abs(np.eye(rows.shape[1]) - inverse @ rows).max(axis=1, initial=0.0) < _DECIDED
        return inverse @ (self.cents[kept] * self.weight[kept]), inverse @ inverse.T, decided

    def spare(self, kept: Mask) -> int:
        """How many of these readings are more than the unknowns need."""
        return int(kept.sum() - np.linalg.matrix_rank(self.rows[kept]))

    def squares(self, kept: Mask) -> float:
        """The sum of squared errors of these readings, each in units of its own standard error."""
        cents, _, _ = self.of(kept)
        return float((((self.cents - self.rows @ cents) * self.weight)[kept] ** 2).sum())

    def all(self) -> Mask:
        """Every reading."""
        return np.ones(len(self.readings), dtype=bool)


def asides(instrument: Instrument, string: int) -> tuple[str, ...]:
    """The changes that do not move a string, and so can make it sag.

    >>> from tonegen.presets import instrument
    >>> asides(instrument("e9-ten-string"), 5)[0]
    'B'
    """
    return tuple(change.name for change in instrument.changes if string not in change.semitones)


def equations(
    instrument: Instrument,
    string: int,
    readings: Sequence[PitchReading],
    meter_cents: float,
    without: Iterable[Together] = (),
) -> Equations:
    """The equations of the readings of one string. without : combinations that are not to be read as such.

    Raises BadValue for an unknown string or change.

    >>> from tonegen.presets import instrument
    >>> read = [PitchReading(8, names, 0.0) for names in [(), ("A",), ("B",), ("A", "B")]]
    >>> of_eight = equations(instrument("e9-ten-string"), 8, read, 0.1)
    >>> of_eight.changes, [sorted(names) for names in of_eight.combinations], of_eight.rows[3].tolist()
    (('A', 'B'), [['A', 'B']], [1.0, 1.0, 1.0, 1.0])
    """
    instrument.string(string)
    states = [instrument.state(reading.changes) for reading in readings]
    points = tuple(dict.fromkeys(instrument.point(string, state) for state in states))
    engaged = {name for state in states for name in state.changes}
    changes = tuple(name for name in asides(instrument, string) if name in engaged)

    def with_excess(combinations: tuple[Together, ...]) -> Equations:
        rows = np.zeros((len(readings), len(points) + len(changes) + len(combinations)))
        for row, state in enumerate(states):
            rows[row, points.index(instrument.point(string, state))] = 1
            for name in state.changes:
                if name in changes:
                    rows[row, len(points) + changes.index(name)] = 1
            for together in combinations_engaged(state.changes, combinations):
                rows[row, len(points) + len(changes) + combinations.index(together)] = 1
        return Equations(
            string,
            points,
            changes,
            combinations,
            rows,
            np.array([reading.cents for reading in readings]),
            np.array([1 / reading.standard_error_cents(meter_cents) for reading in readings]),
            tuple(readings),
        )

    found = with_excess(())
    singles = len(points) + len(changes)
    decided = _decided(found, singles)
    candidates = {frozenset(state.changes) for state in states if len(state.changes) > 1} - set(without)
    for together in sorted(candidates, key=lambda names: (len(names), sorted(names))):
        if together.isdisjoint(changes):
            continue
        more = with_excess((*found.combinations, together))
        if (_decided(more, singles) >= decided).all() and _decided(more)[singles:].all():
            found = more
    return found


def _decided(fit: Equations, count: int | None = None) -> Mask:
    return fit.of(fit.all())[2][:count]
