"""The offsets that serve what a tuning wishes, and how far they are from it."""

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.errors import BadValue
from tonegen.frozen import Frozen
from tonegen.pitch import parse_pitch_class
from tonegen.tunings.records import ROOT_AT_EQUAL, PublishedOffset, StoredTuning

Array = NDArray[np.float64]
MEAN_AT_EQUAL: Final = "mean"
# Less than this share of the rms won is not worth a string that is no longer equal (the bound is ours).
_LEAST_WON: Final = 0.05
_EXACT_CENTS: Final = 1e-9


@dataclass(frozen=True, slots=True, eq=False)
class SolvedTuning(Frozen):
    """A tuning with its offsets.

    rms_before_cents, rms_after_cents : of all that is wished, by its weight, at equal and as tuned.
    """

    tuning: StoredTuning
    offsets_cents: Array
    rms_before_cents: float
    rms_after_cents: float

    @property
    def leave_it_equal(self) -> bool:
        """Whether so little is won that the strings may as well stay at equal."""
        return self.rms_after_cents > (1 - _LEAST_WON) * self.rms_before_cents


def solved(tuning: StoredTuning, anchor: str = ROOT_AT_EQUAL) -> SolvedTuning:
    """The offsets by least squares over all that is wished, each by its weight.

    Each offset is the mean, by weight, of what its neighbours wish: these are the normal equations.
    anchor : what stands at equal: "root", a note such as "A", or "mean" for the mean of all.
    Raises BadValue for a note that the tuning does not have.
    """
    wishes, rows = tuning.wishes, range(len(tuning.wishes))
    apart = np.zeros((len(wishes), len(tuning.notes)))
    apart[rows, [wish.low for wish in wishes]] = -1.0
    apart[rows, [wish.high for wish in wishes]] = 1.0
    cents, weights = np.array([(wish.cents, wish.weight) for wish in wishes]).reshape(-1, 2).T
    weighed = apart.T * weights
    free = np.linalg.lstsq(weighed @ apart, weighed @ cents, rcond=None)[0]
    offsets = free - _at_equal(tuning, free, anchor)
    return SolvedTuning(tuning, offsets + 0.0, _rms(weights, cents), _rms(weights, apart @ offsets - cents))


def _at_equal(tuning: StoredTuning, free: Array, anchor: str) -> float:
    if anchor == MEAN_AT_EQUAL:
        return float(free.mean())
    if anchor == ROOT_AT_EQUAL:
        return float(free[tuning.root])
    place = next(tuning.places(parse_pitch_class(anchor)), None)
    if place is None:
        raise BadValue(
            f"{tuning.name} has no {anchor}; take root, mean or one of its notes: {tuning.written}"
        )
    return float(free[place])


def _rms(weights: Array, errors: Array) -> float:
    return float(np.sqrt((weights * errors**2).sum() / weights.sum())) if len(weights) else 0.0


@dataclass(frozen=True, slots=True)
class ComparedOffset:
    """A value that the source prints, beside what the rule gives."""

    printed: PublishedOffset
    computed_cents: float

    @property
    def agrees(self) -> bool:
        """Whether the two are one within the rounding of what is printed."""
        return abs(self.computed_cents - self.printed.cents) <= self.printed.within_cents + _EXACT_CENTS


def compared_with_source(tuning: StoredTuning) -> tuple[ComparedOffset, ...]:
    """Each value that the source prints, with the tuning set to the note that it takes for 0."""
    offsets = solved(tuning, tuning.published_anchor or ROOT_AT_EQUAL).offsets_cents.tolist()
    by_name = {note.name: cents for note, cents in zip(tuning.notes, offsets, strict=True)}
    return tuple(ComparedOffset(each, by_name[each.note]) for each in tuning.published)
