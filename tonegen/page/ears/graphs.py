"""Graphs of what ears can do, as numbers between 0 and 1 across and up: a page only draws them."""

from collections.abc import Callable, Iterable, Sequence
from datetime import date
from math import log
from typing import Final

import numpy as np
from msgspec import Struct

from tonegen.ear.panels import Panel, aside_of, panels, spread_out
from tonegen.ear.progress import Point, by_day
from tonegen.ear.psychometric import Answers
from tonegen.ear.rows import Row
from tonegen.ear.session import MOST_CENTS, Session
from tonegen.ear.trend import Trend
from tonegen.ear.trials import chord_name

_CENTS: Final = (0.25, 0.5, 1, 2, 5, 10, 20, 50)
_LEAST_CENTS: Final = 0.25
_STEPS: Final = 60


class Tick(Struct, frozen=True, array_like=True):
    """A place on an axis, and its name."""

    at: float
    name: str


class Mark(Struct, frozen=True, array_like=True):
    """A point with its range from low to high, and how much it weighs, at most 1."""

    across: float
    up: float
    low: float
    high: float
    weight: float


class Span(Struct, frozen=True, array_like=True):
    """A range across, with what lies in it, at a height."""

    low: float
    value: float
    high: float
    up: float


class Curve(Struct, frozen=True):
    """A line, or points, or both, and what they stand for.

    words : say it without the picture; "" where they stand beside it already
    band : where the line may lie, as a shape
    """

    name: str
    words: str
    path: tuple[tuple[float, float], ...]
    marks: tuple[Mark, ...]
    span: Span | None = None
    band: tuple[tuple[float, float], ...] = ()


class Graph(Struct, frozen=True):
    """Curves in one frame."""

    title: str
    across: str
    up: str
    across_ticks: tuple[Tick, ...]
    up_ticks: tuple[Tick, ...]
    curves: tuple[Curve, ...]


def heard_at(session: Session) -> tuple[Graph, ...]:
    """How often each error of a session was heard, and the function, threshold and range of its results.

    Nothing for a kind without a threshold, for a few answers, or for answers at one level.
    """
    curves = []
    for result in session.results():
        found, listener = result.threshold, result.function
        if found is None or listener is None or result.heard is None:
            continue
        made = [one for one in session.answered if one.trial.chord == result.chord]
        answers = Answers.of_trials(
            [one.trial.level_cents for one in made], [one.judged.right is True for one in made]
        )
        levels = np.geomspace(_LEAST_CENTS, MOST_CENTS, _STEPS)
        span = None
        if found.value <= MOST_CENTS:
            up = round(float(listener.right(found.value)), 4)  # on the function, which has his slips
            span = Span(_log_place(found.low), _log_place(found.value), _log_place(found.high), up)
        curves.append(
            Curve(
                chord_name(result.chord),
                "",
                tuple(
                    (_log_place(level), round(float(right), 4))
                    for level, right in zip(levels.tolist(), listener.right(levels), strict=True)
                ),
                _shares(answers),
                span,
            )
        )
    if not curves:
        return ()
    shares = tuple(Tick(share, f"{share:.0%}") for share in (0.0, 0.25, 0.5, 0.75, 1.0))
    title = "This session: how often an error is heard"
    return (Graph(title, "error in cents", "right", _CENTS_TICKS, shares, tuple(curves)),)


def _shares(answers: Answers) -> tuple[Mark, ...]:
    """The share of right answers at each level; a larger mark for more answers, by area."""
    weights = np.sqrt(answers.asked / answers.asked.max()).tolist()
    marks = zip(answers.levels.tolist(), (answers.right / answers.asked).tolist(), weights, strict=True)
    return tuple(Mark(_log_place(level), share, share, share, weight) for level, share, weight in marks)


def over_days(rows: Sequence[Row], followed: Iterable[Trend] = ()) -> tuple[Graph, ...]:
    """Progress over the days, a graph for each kind of result."""
    return tuple(_graph(panel) for panel in panels(by_day(rows), followed))


def _graph(panel: Panel) -> Graph:
    points = [point for line in panel.lines.values() for point in line]
    days = sorted({point.day for point in points})
    first, length = days[0], max((days[-1] - days[0]).days, 1)

    def across(day: date) -> float:
        return 0.5 if len(days) == 1 else round(0.04 + 0.92 * (day - first).days / length, 4)

    up, up_ticks = (_log_place, _CENTS_TICKS) if panel.threshold else _linear(points)
    curves = []
    for index, (label, line) in enumerate(panel.lines.items()):
        last, aside = line[-1], aside_of(index, len(panel.lines))
        marks = tuple(
            Mark(across(point.day) + aside, up(point.value), up(point.low), up(point.high), 1.0)
            for point in line
        )
        words = f"{last.value:.1f}, from {last.low:.1f} to {last.high:.1f}"
        if panel.threshold and last.value > MOST_CENTS:
            words = f"over {MOST_CENTS:g}, at least {last.low:.1f}"
        words = f"{words}, on {last.day.isoformat()}"
        band = panel.bands.get(label, ())
        shape = (
            *((across(point.day), up(point.low)) for point in band),
            *((across(point.day), up(point.high)) for point in reversed(band)),
        )
        path = tuple((mark.across, mark.up) for mark in marks)
        curves.append(Curve(label, words, path, marks, band=shape))
    day_ticks = tuple(Tick(across(day), f"{day.day}.{day.month}.") for day in spread_out(days))
    return Graph(panel.title, "day", "", day_ticks, up_ticks, tuple(curves))


def _linear(points: Sequence[Point]) -> tuple[Callable[[float], float], tuple[Tick, ...]]:
    """A scale that holds the points, their ranges and nothing, with ticks at round numbers."""
    low = min(0.0, *(point.low for point in points))
    high = max(0.0, *(point.high for point in points))
    step = next(step for step in _ROUND if step * 6 >= high - low)
    bottom, top = step * np.floor(low / step), step * np.ceil(max(high, low + step) / step)

    def up(value: float) -> float:
        return round(float((value - bottom) / (top - bottom)), 4)

    places = np.arange(bottom, top + step / 2, step).tolist()
    return up, tuple(Tick(up(place), f"{place + 0.0:g}") for place in places)


_ROUND: Final = tuple(digit * 10.0**power for power in range(-2, 9) for digit in (1, 2, 5))


def _log_place(cents: float) -> float:
    inside = min(max(cents, _LEAST_CENTS), MOST_CENTS)
    return round(log(inside / _LEAST_CENTS) / log(MOST_CENTS / _LEAST_CENTS), 4)


_CENTS_TICKS: Final = tuple(Tick(_log_place(cents), f"{cents:g}") for cents in _CENTS)
