"""What tunings of the keys leave in a song as a drawn picture, black on white.

Imports matplotlib where it draws, not before.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final, Protocol

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_WIDTH_INCHES: Final = 7.5
_INCHES_PER_ROW: Final = 0.34
_ROOM_INCHES: Final = 1.9  # for the title, the axis and what the marks mean


class ComparedTuning(Protocol):
    """What a tuning leaves: mean errors from just in cents; None where the song has none of these."""

    @property
    def name(self) -> str:
        """The tuning, in words."""

    @property
    def overlap_cents(self) -> float:
        """Of octaves and consonances, as much as their partials meet."""

    @property
    def fifths_cents(self) -> float | None:
        """Of fifths and fourths."""

    @property
    def thirds_cents(self) -> float | None:
        """Of thirds and sixths."""


def draw(title: str, rows: Sequence[ComparedTuning]) -> "Figure":
    """A line for each tuning, the purest at the top, with a mark for each kind of interval."""
    from matplotlib.figure import Figure

    ranked = sorted(rows, key=lambda row: -row.overlap_cents)
    figure = Figure(
        figsize=(_WIDTH_INCHES, _ROOM_INCHES + _INCHES_PER_ROW * len(ranked)), layout="constrained"
    )
    axes = figure.add_subplot()
    figure.suptitle(title, fontsize=12, weight="bold")
    axes.set_title("Mean error from just, in cents; the purest tuning at the top", fontsize=10, loc="left")
    places = range(len(ranked))
    axes.barh(
        places, [row.overlap_cents for row in ranked], height=0.55, color="0.8", edgecolor="black",
        linewidth=0.8, label="as much as partials meet",
    )  # fmt: skip
    for label, marker, values in (
        ("fifths and fourths", "o", [row.fifths_cents for row in ranked]),
        ("thirds and sixths", "X", [row.thirds_cents for row in ranked]),
    ):
        there = [(value, place) for value, place in zip(values, places, strict=True) if value is not None]
        axes.plot(
            [value for value, _ in there], [place for _, place in there], color="black", marker=marker,
            markersize=7, markerfacecolor="white", linestyle="none", label=label,
        )  # fmt: skip
    for place, row in zip(places, ranked, strict=True):
        axes.text(  # in a column beside, where no mark is
            1.01, place, f"{row.overlap_cents:.2f}", transform=axes.get_yaxis_transform(), fontsize=9,
            va="center",
        )  # fmt: skip
    axes.set_yticks(places, [row.name for row in ranked], fontsize=10)
    axes.set_xlim(left=0)
    axes.grid(axis="x", color="0.85", linewidth=0.5)
    axes.set_axisbelow(True)
    figure.legend(loc="outside lower center", ncols=3, fontsize=10, frameon=False)
    return figure
