"""What there is to plot of a history: lines over the days, with the band of each that has a course."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Final

from tonegen.ear.progress import Day, Point
from tonegen.ear.trend import Trend
from tonegen.ear.trials import TrialKind
from tonegen.frozen import Frozen


@dataclass(frozen=True, slots=True)
class Panel(Frozen):
    """What is plotted in one frame: lines over the days, by what they stand for.

    threshold : whether the values are thresholds in cents, for a logarithmic axis; else settings or percents.
    bands : of lines that were followed over the days, their course with its range.
    """

    title: str
    threshold: bool
    lines: Mapping[str, tuple[Point, ...]]
    bands: Mapping[str, tuple[Point, ...]] = field(default_factory=dict)


_ASIDE, _MOST_ASIDE = 0.012, 0.06  # of one line from the next, and of all of them together
_MOST_NAMED: Final = 5  # days beneath a plot
_SETTINGS_TITLES: Final = {
    TrialKind.SET: "Set pure: constant error, with the spread, in cents",
    TrialKind.RATE: "Tapped: error of the rate, with the spread, in percent",
    TrialKind.MATCH: "Matched: error of the rate, with the spread, in percent",
}


def panels(days: Iterable[Day], followed: Iterable[Trend] = ()) -> tuple[Panel, ...]:
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
    bands = {f"{one.interval}, {one.register} ({one.kind})": one.band for one in followed if one.band}
    return tuple(
        Panel(
            *heading,
            {label: tuple(points) for label, points in of_label.items()},
            {label: band for label, band in bands.items() if heading[1] and label in of_label},
        )
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
