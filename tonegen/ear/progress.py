"""What the history says: what an ear can do, day by day, interval by interval, register by register."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from tonegen.ear.abx import proportion_right
from tonegen.ear.adjustment import Settings, settings
from tonegen.ear.bayes import Belief, usual_listeners
from tonegen.ear.estimate import Estimate
from tonegen.ear.psychometric import FEWEST_ANSWERS
from tonegen.ear.rows import Row
from tonegen.ear.trials import WITH_THRESHOLD, TrialKind
from tonegen.frozen import Frozen
from tonegen.pitch import nearest_key


@dataclass(frozen=True, slots=True)
class Day:
    """One day's answers to one kind of trial, on one interval, in one register.

    threshold : cents that are heard four times in five, for kinds that have one, from answers at several
    levels. level_cents, proportion : where all answers are at one level, that and how many were right; of
    names, how many were right. settings : of numbers, in cents or percent. What a kind does not tell, or too
    few trials, is None.
    """

    day: date
    kind: TrialKind
    interval: str
    register: str
    trials: int
    threshold: Estimate | None = None
    level_cents: float | None = None
    settings: Settings | None = None
    proportion: Estimate | None = None


@dataclass(frozen=True, slots=True)
class Point:
    """A day's value with its range."""

    day: date
    value: float
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Panel(Frozen):
    """What is plotted in one frame: lines over the days, by what they stand for.

    threshold : whether the values are thresholds in cents, for a logarithmic axis; else settings or percents.
    """

    title: str
    threshold: bool
    lines: Mapping[str, tuple[Point, ...]]


_ASIDE, _MOST_ASIDE = 0.012, 0.06  # of one line from the next, and of all of them together
_MOST_NAMED: Final = 5  # days beneath a plot
_SETTINGS_TITLES: Final = {
    TrialKind.SET: "Set pure: constant error, with the spread, in cents",
    TrialKind.RATE: "Tapped: error of the rate, with the spread, in percent",
    TrialKind.MATCH: "Matched: error of the rate, with the spread, in percent",
}


def panels(days: Iterable[Day]) -> tuple[Panel, ...]:
    """What there is to plot of these days, a line for each interval and register."""
    lines: dict[tuple[str, bool], dict[str, list[Point]]] = {}
    for day in days:
        label = f"{day.interval}, {day.register}"
        if day.threshold is not None:
            one = day.threshold
            heading = ("Error heard four times out of five, in cents", True)
            point, label = Point(day.day, one.value, one.low, one.high), f"{label} ({day.kind})"
        elif day.settings is not None:
            error, spread = day.settings.constant_error.value, day.settings.spread.value
            heading = (_SETTINGS_TITLES[day.kind], False)
            point = Point(day.day, error, error - spread, error + spread)
        elif day.proportion is not None:
            low, value, high = (
                100 * part for part in (day.proportion.low, day.proportion.value, day.proportion.high)
            )
            heading, point = ("Right answers, in percent", False), Point(day.day, value, low, high)
            of_size = "" if day.level_cents is None else f" at {day.level_cents:g} cents"
            label = f"{label} ({day.kind}{of_size})"
        else:
            continue
        lines.setdefault(heading, {}).setdefault(label, []).append(point)
    return tuple(
        Panel(*heading, {label: tuple(points) for label, points in of_label.items()})
        for heading, of_label in lines.items()
    )


def spread_out(days: Sequence[date]) -> list[date]:
    """Of days in their order those to be named beneath a plot, far enough apart to be read.

    >>> [day.day for day in spread_out([date(2026, 3, day) for day in (1, 2, 9, 10, 31)])]
    [1, 9, 31]
    """
    named = [days[0]]
    for day in days:
        if (day - named[-1]).days * _MOST_NAMED >= (days[-1] - days[0]).days > 0:
            named.append(day)
    return named


def aside_of(index: int, lines: int) -> float:
    """How far a line stands aside of its day, so that lines do not hide each other, in widths of the plot.

    >>> [aside_of(index, 3) for index in range(3)], round(aside_of(29, 30), 3)
    ([-0.012, 0.0, 0.012], 0.029)
    """
    return (index - (lines - 1) / 2) * min(_ASIDE, _MOST_ASIDE / lines)


def register_of(low_hz: float) -> str:
    """The octave in which the lowest tone lies, at A4 = 440 Hz.

    >>> register_of(220.0), register_of(262.0)
    ('C3 to B3', 'C4 to B4')
    """
    octave = int(nearest_key(low_hz)[0]) // 12 - 1
    return f"C{octave} to B{octave}"


def by_day(rows: Iterable[Row]) -> tuple[Day, ...]:
    """The rows gathered, by day first; days are those of the clock on the wall where they were answered."""
    gathered: dict[tuple[date, TrialKind, str, str], list[Row]] = {}
    for row in rows:
        day = datetime.fromisoformat(row.answered).date()
        key = (day, TrialKind(row.kind), row.interval, register_of(row.low_hz))
        gathered.setdefault(key, []).append(row)
    return tuple(_day(*key, gathered[key]) for key in sorted(gathered))


def _day(day: date, kind: TrialKind, interval: str, register: str, rows: list[Row]) -> Day:
    count = len(rows)
    errors = [row.error for row in rows if row.error is not None]
    if errors:
        found = settings(errors) if len(errors) > 1 else None
        return Day(day, kind, interval, register, count, settings=found)
    proportion = proportion_right(sum(row.right is True for row in rows), count)
    guess, levels = WITH_THRESHOLD.get(kind), {row.level_cents for row in rows}
    if guess is None:
        return Day(day, kind, interval, register, count, proportion=proportion)
    if count < FEWEST_ANSWERS:
        return Day(day, kind, interval, register, count)
    if len(levels) == 1:
        return Day(day, kind, interval, register, count, level_cents=levels.pop(), proportion=proportion)
    belief = Belief(usual_listeners(guess))
    for row in rows:
        belief = belief.after(row.level_cents, row.right is True)
    return Day(day, kind, interval, register, count, threshold=belief.threshold())
