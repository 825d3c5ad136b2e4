"""The trade-off between the band and the grips themselves as a drawn picture, black on white.

Imports matplotlib where it draws, not before.
"""

from textwrap import fill
from typing import TYPE_CHECKING, Final

from tonegen.paper.printing import GREY
from tonegen.tempering.temper import Objective
from tonegen.tempering.tradeoff import Front

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_INCHES: Final = (7.5, 6.0)
_MARGIN: Final = 0.12  # of the span, so that marks and their words have room
_ERROR: Final = {
    Objective.CENTS: "cents from just (root mean square)",
    Objective.BEATS: "beats a second (root mean square)",
    Objective.WORST_CENTS: "cents from just (worst, by weight)",
    Objective.WORST_BEATS: "beats a second (worst, by weight)",
}


def draw(front: Front) -> "Figure":
    """The curve, with what is chosen on it and where the player stood before."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=_INCHES, layout="constrained")
    axes = figure.add_subplot()
    scene, error = front.scene, _ERROR[front.objective]
    figure.suptitle(fill(scene.title or scene.name, 76), fontsize=12, weight="bold")
    axes.set_title("On the line neither can improve without the other getting worse", fontsize=10, loc="left")
    axes.set_xlabel(f"\u2190 agrees with the band        {error}", fontsize=10.5, loc="left")
    axes.set_ylabel(f"\u2190 pure with itself        {error}", fontsize=10.5, loc="bottom")
    axes.tick_params(labelsize=10)
    axes.grid(color="0.75", linewidth=0.5)
    across = [point.band_error for point in front.points]
    up = [point.self_error for point in front.points]
    axes.plot(across, up, color="black", linewidth=1.6, marker="o", markersize=4, label="best possible")
    chosen = (front.chosen.band_error, front.chosen.self_error)
    before = (front.before[1], front.before[0])
    axes.plot(
        *chosen, color="black", marker="o", markersize=11, linestyle="none",
        label="chosen by the scene's weights",
    )  # fmt: skip
    axes.plot(
        *before, color="black", marker="X", markersize=11, markerfacecolor="white", linestyle="none",
        label=f"before: {scene.before.name}",
    )  # fmt: skip
    _leave_room(axes, [*across, chosen[0], before[0]], [*up, chosen[1], before[1]])
    axes.legend(fontsize=10, loc="best", facecolor="white", edgecolor=GREY, framealpha=1)
    return figure


def _leave_room(axes: "Axes", across: list[float], up: list[float]) -> None:
    for values, set_limits in ((across, axes.set_xlim), (up, axes.set_ylim)):
        low, high = min(values), max(values)
        room = _MARGIN * (high - low) or max(0.1 * high, 0.1)
        set_limits(max(0.0, low - room), high + room)
