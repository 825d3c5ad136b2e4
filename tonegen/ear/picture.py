"""Progress as a picture. Imports matplotlib, so import this where a picture is wanted."""

from collections.abc import Sequence
from datetime import date
from pathlib import Path
from typing import Final

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.dates import DateFormatter, date2num
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator

from tonegen.ear.panels import aside_of, panels, spread_out
from tonegen.ear.progress import Day
from tonegen.ear.trend import Trend
from tonegen.errors import BadValue
from tonegen.writing import written_whole

# Lines are told apart by their marks and strokes as well as by colour: a page may be printed in black.
_MARKS: Final = ("o", "s", "^", "D", "v", "P", "X", "*")
_STROKES: Final = ("-", "--", "-.", ":")
_CENTS_TICKS: Final = (0.25, 0.5, 1, 2, 5, 10, 20, 50)


def write_progress(
    days: Sequence[Day], path: Path, title: str, followed: Sequence[Trend] = (), *, force: bool = False
) -> None:
    """Draw thresholds and settings over the days to a PNG file, a line for each interval and register.

    followed : lines whose course is drawn as a band, 95 % of what it may be.
    Raises BadValue when there is nothing to draw or the name does not end in .png, CannotWrite where nothing
    can be written or, unless `force`, the file is there already.
    """
    if path.suffix.lower() != ".png":
        raise BadValue(f"{path}: the picture is a PNG file; give a name that ends in .png")
    drawn = panels(days, followed)
    if not drawn:
        raise BadValue("there is nothing to draw yet; answer some more trials first")
    answered = sorted({point.day for panel in drawn for line in panel.lines.values() for point in line})
    first, last = answered[0], answered[-1]
    length = max((last - first).days, 1)
    figure = Figure(figsize=(8, 1 + 3 * len(drawn)), layout="constrained")
    FigureCanvasAgg(figure)
    figure.suptitle(title)
    for axes, panel in zip(figure.subplots(len(drawn), squeeze=False).flat, drawn, strict=True):
        axes.set_title(panel.title, loc="left", fontsize="medium")
        for index, (label, points) in enumerate(panel.lines.items()):
            aside = length * aside_of(index, len(panel.lines))
            days_of_line = [_number(point.day) + aside for point in points]
            values = [point.value for point in points]
            below = [point.value - point.low for point in points]
            above = [point.high - point.value for point in points]
            style = {"marker": _MARKS[index % len(_MARKS)], "linestyle": _STROKES[index % len(_STROKES)]}
            (line, *_) = axes.errorbar(
                days_of_line, values, yerr=[below, above], label=label, capsize=3, **style
            )
            if band := panel.bands.get(label):
                axes.fill_between(
                    [_number(point.day) for point in band],
                    [point.low for point in band],
                    [point.high for point in band],
                    color=line.get_color(),
                    alpha=0.15,
                )
        if panel.threshold:
            axes.set_yscale("log")
            axes.yaxis.set_major_locator(FixedLocator(_CENTS_TICKS))
            axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
        axes.set_xlim(_number(first) - 0.08 * length, _number(last) + 0.08 * length)
        axes.xaxis.set_major_locator(FixedLocator([*map(_number, spread_out(answered))]))
        axes.xaxis.set_major_formatter(DateFormatter("%Y-%m-%d"))  # type: ignore[no-untyped-call]
        axes.grid(alpha=0.3)
        axes.legend(fontsize="small", loc="upper left", bbox_to_anchor=(1, 1))
    with written_whole(path, force=force) as beside:
        figure.savefig(beside, format="png", dpi=130)


def _number(day: date) -> float:
    return float(date2num(day))  # type: ignore[no-untyped-call]
