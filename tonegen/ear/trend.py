"""Whether an ear grows finer: all days of one line together, and how sure that is.

Each day by itself says little: 30 answers know a threshold to a third. So all answers of a kind, to an
interval in a register, are explained by one listener whose threshold changes by the same share each day, and
every such listener that is thought possible is weighted by how well he explains them: threshold x change x
slope x lapse rate (a grid posterior, flat beforehand; the psychometric function as in `psychometric`). An ear
is not the same every day either: each day's threshold may lie off that line, by chance, with a standard
deviation of `DAY_TO_DAY`, else a good day would be taken for progress.

Simulated learners (60 answers a day to one interval, slope 2) who halve their threshold in ten days are told
of progress 7 times in 10, with 30 answers 6 times; those who stay as they are 1 time in 40.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.ear.bayes import Listeners
from tonegen.ear.estimate import Estimate
from tonegen.ear.progress import Line, Point, heard, line_of, local_day
from tonegen.ear.psychometric import FEWEST_ANSWERS, HEARD, LAPSES, rise_at
from tonegen.ear.rows import Row
from tonegen.ear.trials import WITH_THRESHOLD, TrialKind
from tonegen.frozen import Frozen

_Array = NDArray[np.float64]

# Common practice, no source: an ear is some 15 % finer on one day than on another.
DAY_TO_DAY: Final = 0.15
ALL_TOGETHER: Final = "all together"
_THRESHOLDS: Final = np.geomspace(0.25, 256, 91)
_SLOPES: Final = np.geomspace(0.7, 6, 7)
# From the first day to the last: a sixteenth to sixteen times.
_CHANGES: Final = np.linspace(-np.log(16), np.log(16), 51)
_BAND_POINTS: Final = 25
_BINS: Final = 600
_CONFIDENCE: Final = 0.95


@dataclass(frozen=True, slots=True)
class Trend(Frozen):
    """How a threshold went over the days.

    change : threshold of the last day over that of the first, below 1 for an ear that grew finer.
    likely : the probability that it is below 1.
    band : thresholds in cents day by day, each with its range; () where several lines are told together.
    """

    kind: TrialKind
    interval: str
    register: str
    days: int
    change: Estimate
    likely: float
    band: tuple[Point, ...] = ()

    @property
    def finer(self) -> bool:
        """Whether chance alone would hardly make it so: the whole range lies below 1."""
        return self.change.high < 1

    @property
    def coarser(self) -> bool:
        """The same, the other way."""
        return self.change.low > 1


def trends(rows: Iterable[Row]) -> tuple[Trend, ...]:
    """What the heard answers to each line say of its course, and those of all lines of a kind together.

    A line needs two days, answers at more than one level, and twice as many as a threshold takes.
    """
    of_kind: dict[TrialKind, dict[Line, list[Row]]] = {}
    for row in heard(rows):
        if TrialKind(row.kind) in WITH_THRESHOLD:
            of_kind.setdefault(TrialKind(row.kind), {}).setdefault(line_of(row), []).append(row)
    return tuple(trend for kind, lines in of_kind.items() for trend in _of_kind(kind, lines))


def _of_kind(kind: TrialKind, lines: Mapping[Line, Sequence[Row]]) -> list[Trend]:
    told = {line: rows for line, rows in sorted(lines.items()) if _tells(rows)}
    if not told:
        return []
    days = [local_day(row) for rows in told.values() for row in rows]
    # One grid of changes a day for all lines, so that what each says of them can be multiplied.
    per_day = _CHANGES / (max(days) - min(days)).days
    found, together = [], np.ones(len(per_day))
    for line, rows in told.items():
        weights, band, span = _followed(rows, WITH_THRESHOLD[kind], per_day)
        found.append(Trend(kind, line.interval, line.register, span, *_change(weights, per_day * span), band))
        together *= weights / weights.max()
    if len(found) > 1:
        span = (max(days) - min(days)).days
        found.append(Trend(kind, ALL_TOGETHER, "", span, *_change(together, per_day * span)))
    return found


def _tells(rows: Sequence[Row]) -> bool:
    return (
        len(rows) >= 2 * FEWEST_ANSWERS
        and len({local_day(row) for row in rows}) > 1
        and len({row.level_cents for row in rows}) > 1
    )


def _change(weights: _Array, logs: _Array) -> tuple[Estimate, float]:
    """The factor from first to last, and how likely it is below 1."""
    tails = (0.5, (1 - _CONFIDENCE) / 2, (1 + _CONFIDENCE) / 2)
    shares = np.cumsum(weights / weights.sum()) - weights / weights.sum() / 2
    value, low, high = np.exp(np.interp(tails, shares, logs)).tolist()
    return Estimate(value, low, high, _CONFIDENCE), float(np.interp(0.0, logs, shares))


def _followed(rows: Sequence[Row], guess: float, per_day: _Array) -> tuple[_Array, tuple[Point, ...], int]:
    """The weight of each change a day, the band, and how many days it spans."""
    levels = np.unique([row.level_cents for row in rows])
    listeners = Listeners(_THRESHOLDS, _SLOPES, levels, guess=guess, lapses=LAPSES)
    right = listeners.right(levels).reshape(len(levels), len(_THRESHOLDS), -1)
    log_right, log_wrong = np.log(right), np.log1p(-right)
    days: dict[date, list[Row]] = {}
    for row in rows:
        days.setdefault(local_day(row), []).append(row)
    first, last = min(days), max(days)
    middle = (last - first).days / 2
    logs = np.log(_THRESHOLDS)
    step = logs[1] - logs[0]
    near = np.exp(-0.5 * (np.subtract.outer(logs, logs) / DAY_TO_DAY) ** 2)
    near /= near.sum(axis=1, keepdims=True)
    total = np.zeros((len(per_day), len(logs), right.shape[2]))
    for day, answers in days.items():
        at = np.searchsorted(levels, [row.level_cents for row in answers])
        hits = np.bincount(at, [row.right is True for row in answers], len(levels))
        misses = np.bincount(at, minlength=len(levels)) - hits
        explained = np.tensordot(hits, log_right, 1) + np.tensordot(misses, log_wrong, 1)
        top = explained.max()
        explained = top + np.log(np.maximum(near @ np.exp(explained - top), 1e-300))
        # Where the threshold of this day lies on the grid, for each change a day and each threshold between.
        place = per_day[:, np.newaxis] * ((day - first).days - middle) / step + np.arange(len(logs))
        place = np.clip(place, 0, len(logs) - 1)
        below = np.minimum(place.astype(int), len(logs) - 2)
        share = (place - below)[:, :, np.newaxis]
        total += (1 - share) * explained[below] + share * explained[below + 1]
    weights = np.exp(total - total.max())
    weights /= weights.sum()
    one = listeners
    heard_above = np.log(-np.log1p(-rise_at(HEARD, guess))) / one.slopes
    span = (last - first).days
    count = min(span + 1, _BAND_POINTS)
    told = [first + timedelta(days=round(span * number / (count - 1))) for number in range(count)]
    band = tuple(
        _point(
            day,
            logs[np.newaxis, :, np.newaxis]
            + per_day[:, np.newaxis, np.newaxis] * ((day - first).days - middle)
            + heard_above[: right.shape[2]],
            weights,
        )
        for day in told
    )
    return weights.sum(axis=(1, 2)), band, span


def _point(day: date, log_levels: _Array, weights: _Array) -> Point:
    """Median and range of a level that each listener has."""
    least, most = log_levels.min(), log_levels.max()
    bins = ((log_levels - least) * (_BINS / (most - least) * (1 - 1e-9))).astype(int)
    below = np.concatenate([[0.0], np.cumsum(np.bincount(bins.ravel(), weights.ravel(), _BINS))])
    tails = (0.5, (1 - _CONFIDENCE) / 2, (1 + _CONFIDENCE) / 2)
    value, low, high = np.exp(np.interp(tails, below, np.linspace(least, most, _BINS + 1))).tolist()
    return Point(day, value, low, high)
