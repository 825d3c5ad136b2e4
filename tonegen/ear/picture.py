"""Progress as a picture. Imports matplotlib, so import this where a picture is wanted."""

from collections.abc import Sequence
from pathlib import Path
from typing import Final

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.dates import AutoDateLocator, ConciseDateFormatter, date2num
from matplotlib.figure import Figure
from matplotlib.ticker import FixedLocator

from tonegen.ear.progress import Day
from tonegen.ear.trials import Kind
from tonegen.errors import BadValue, CannotWrite
from tonegen.writing import written_whole

# Lines are told apart by their marks and strokes as well as by colour: a page may be printed in black.
_MARKS: Final = ("o", "s", "^", "D", "v", "P", "X", "*")
_STROKES: Final = ("-", "--", "-.", ":")
_CENTS_TICKS: Final = (0.25, 0.5, 1, 2, 5, 10, 20, 50)
_TITLES: Final[dict[str, str]] = {
    "threshold": "Heard four times in five: error in cents",
    Kind.SET: "Set pure: constant error, with the spread, in cents",
    Kind.RATE: "Tapped: error of the rate, with the spread, in percent",
    Kind.MATCH: "Matched: error of the rate, with the spread, in percent",
}


def write_progress(days: Sequence[Day], path: Path, title: str) -> None:
    """Draw thresholds and settings over the days to a PNG file, a line for each interval and register.

    Raises BadValue when there is nothing to draw or the name does not end in .png, CannotWrite where nothing
    can be written or the file is there already.
    """
    if path.suffix.lower() != ".png":
        raise BadValue(f"{path}: the picture is a PNG file; give a name that ends in .png")
    if path.exists():
        raise CannotWrite(f"{path} is there already; give another name")
    panels = _panels(days)
    if not panels:
        raise BadValue("there is no threshold and no setting to draw yet; answer some trials first")
    figure = Figure(figsize=(8, 1 + 3 * len(panels)), layout="constrained")
    FigureCanvasAgg(figure)
    figure.suptitle(title)
    for axes, (heading, lines) in zip(figure.subplots(len(panels), squeeze=False).flat, panels, strict=True):
        axes.set_title(heading, loc="left", fontsize="medium")
        for index, (label, points) in enumerate(lines.items()):
            days_of_line = [date2num(day) for day, *_ in points]  # type: ignore[no-untyped-call]
            values = [value for _, value, *_ in points]
            below = [value - low for _, value, low, _ in points]
            above = [high - value for _, value, _, high in points]
            style = {"marker": _MARKS[index % len(_MARKS)], "linestyle": _STROKES[index % len(_STROKES)]}
            axes.errorbar(days_of_line, values, yerr=[below, above], label=label, capsize=3, **style)
        if heading == _TITLES["threshold"]:
            axes.set_yscale("log")
            axes.yaxis.set_major_locator(FixedLocator(_CENTS_TICKS))
            axes.yaxis.set_major_formatter(lambda value, _: f"{value:g}")
        locator = AutoDateLocator(minticks=1, maxticks=8)  # type: ignore[no-untyped-call]
        axes.xaxis.set_major_locator(locator)
        axes.xaxis.set_major_formatter(ConciseDateFormatter(locator))  # type: ignore[no-untyped-call]
        axes.grid(alpha=0.3)
        axes.legend(fontsize="small")
    with written_whole(path, force=False) as beside:
        figure.savefig(beside, format="png", dpi=130)


_Points = list[tuple[object, float, float, float]]


def _panels(days: Sequence[Day]) -> list[tuple[str, dict[str, _Points]]]:
    """For each panel its heading, and lines of (day, value, low, high) by what they stand for."""
    panels: dict[str, dict[str, _Points]] = {}
    for day in days:
        label = f"{day.interval}, {day.register}"
        if day.threshold is not None:
            heading, one = _TITLES["threshold"], day.threshold
            point = (day.day, one.value, one.low, one.high)
            label = f"{label} ({day.kind})"
        elif day.settings is not None:
            heading = _TITLES[day.kind]
            error, spread = day.settings.constant_error.value, day.settings.spread.value
            point = (day.day, error, error - spread, error + spread)
        else:
            continue
        panels.setdefault(heading, {}).setdefault(label, []).append(point)
    return list(panels.items())
