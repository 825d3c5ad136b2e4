"""How the intervals of a scene sound with two sets of offsets, grip by grip."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np
from numpy.typing import NDArray

from tonegen.interval import Ratio, partial_hz
from tonegen.tempering.demands import HIGHEST_BEATING_PARTIAL, Demands, DemandVoice
from tonegen.tempering.scene import WantedGrip

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Purity:
    """How an interval sounds: cents from where its partials meet, and beats per second; wide positive."""

    cents_from_just: float
    beats_per_second: float


@dataclass(frozen=True, slots=True)
class IntervalPurity:
    """One interval before and after; partial `ratio.upper` of the low tone meets `ratio.lower` of the high.

    Beats are at `fret`: the highest that matters, or one of them where stiff strings have another just size
    at each. row : of its equation in the demands. low_stiffness, high_stiffness : B as it counts here.
    """

    low: DemandVoice
    high: DemandVoice
    ratio: Ratio
    before: Purity
    after: Purity
    coincident_hz: float
    fret: float
    against: str = ""
    row: int = 0
    low_stiffness: float = 0.0
    high_stiffness: float = 0.0

    @property
    def is_weak(self) -> bool:
        """Whether its beating partials lie so high that nobody hears them beat."""
        return max(self.ratio.upper, self.ratio.lower) > HIGHEST_BEATING_PARTIAL


@dataclass(frozen=True, slots=True)
class GripPurity:
    """The intervals of one grip, those against the band at the end."""

    wanted: WantedGrip
    intervals: tuple[IntervalPurity, ...]

    def pairs(self, by_cents: bool) -> tuple[tuple[IntervalPurity, IntervalPurity], ...]:
        """Each pair of tones once: at the fret where it is worst before, and where it is worst after."""
        frets: dict[tuple[DemandVoice, DemandVoice], list[IntervalPurity]] = {}
        for each in self.intervals:
            frets.setdefault((each.low, each.high), []).append(each)
        return tuple(
            (
                worst_of(chosen, lambda each: each.before, by_cents),
                worst_of(chosen, lambda each: each.after, by_cents),
            )
            for chosen in frets.values()
        )


def worst_of(
    intervals: Sequence[IntervalPurity], side: Callable[[IntervalPurity], Purity], by_cents: bool
) -> IntervalPurity:
    """The interval that is furthest from just, or beats fastest of those whose beats are heard.

    side : which of before and after is asked about. Of alike ones, that at the highest fret.
    """
    if by_cents:
        return max(intervals, key=lambda each: (round(abs(side(each).cents_from_just), 6), each.fret))
    heard = [each for each in intervals if not each.is_weak] or intervals
    return max(heard, key=lambda each: (round(abs(side(each).beats_per_second), 6), each.fret))


def at_frets(was: IntervalPurity, now: IntervalPurity) -> str:
    """The fret at which a pair is told, or the two where its sides differ: "fret 8", "frets 3, 8"."""
    return f"fret {now.fret:g}" if was.fret == now.fret else f"frets {was.fret:g}, {now.fret:g}"


def purity_of(demands: Demands, before: Array, after: Array) -> tuple[GripPurity, ...]:
    """How every interval sounds with two sets of offsets; the pull has no sound and is left out."""
    upper = np.array([demand.ratio.upper for demand in demands.demands], dtype=float)
    lower = np.array([demand.ratio.lower for demand in demands.demands], dtype=float)
    sides = []
    for offsets in (before, after):
        low, high = demands.hz(offsets)
        low_partial = partial_hz(low, upper, demands.low_stiffness)
        high_partial = partial_hz(high, lower, demands.high_stiffness)
        sides.append((demands.cents_from_just(offsets), high_partial - low_partial))
    middle = (low_partial + high_partial) / 2
    found = []
    rows = [row for row, demand in enumerate(demands.demands) if demand.wanted is not None]
    for name, chosen in groupby(rows, key=lambda row: demands.demands[row].wanted):
        intervals = []
        for row in chosen:
            demand = demands.demands[row]
            was, now = (Purity(float(cents[row]), float(beats[row])) for cents, beats in sides)
            intervals.append(
                IntervalPurity(
                    demand.low,
                    demand.high,
                    demand.ratio,
                    was,
                    now,
                    float(middle[row]),
                    demand.fastest_fret,
                    demand.part,
                    row,
                    float(demands.low_stiffness[row]),
                    float(demands.high_stiffness[row]),
                )
            )
        if name is not None:
            found.append(GripPurity(name, tuple(intervals)))
    return tuple(found)
