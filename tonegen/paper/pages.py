"""Pages that are filled from the top, in inches, one after another as they are needed.

Black on white, large type: they are read at arm's length in low light. No type is under 8 points.
"""

from typing import TYPE_CHECKING, Any, Final

from tonegen.paper.printing import GREY

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

PAPERS_INCHES: Final = {"a4": (8.27, 11.69), "letter": (8.5, 11.0)}
_MARGIN_INCHES: Final = 0.4
_TITLE_INCHES: Final = 0.22
_RULE_INCHES: Final = 0.1
_RUNNING_INCHES: Final = 0.3


class Pages:
    """What is drawn goes on `figures[-1]`, below `top`."""

    def __init__(self, paper: str, running: str) -> None:
        """Take the paper, and what stands at the head of every page but the first."""
        self.width, self.height = PAPERS_INCHES[paper]
        self.left, self.right = _MARGIN_INCHES, self.width - _MARGIN_INCHES
        self.figures: list[Figure] = []
        self._running = running
        self.turn()

    @property
    def room(self) -> float:
        """How many inches are left on this page."""
        return self.top - _MARGIN_INCHES

    def turn(self) -> None:
        """Begin another page."""
        from matplotlib.figure import Figure

        self.figures.append(Figure(figsize=(self.width, self.height)))
        self.top = self.height - _MARGIN_INCHES
        if len(self.figures) > 1:
            self.text(self.left, self.top, self._running, 9)
            self.text(self.right, self.top, f"page {len(self.figures)}", 9, ha="right")
            self.top -= _RUNNING_INCHES

    def need(self, inches: float) -> bool:
        """Turn the page unless so much room is left; whether it was turned."""
        if self.room >= inches:
            return False
        self.turn()
        return True

    def text(self, x: float, y: float, words: str, points: float, **how: Any) -> None:
        """Write at a place, its upper edge at `y` unless `va` says otherwise; a $ in it is a $."""
        self.figures[-1].text(
            x / self.width, y / self.height, words, fontsize=points, va=how.pop("va", "top"),
            parse_math=False, **how,
        )  # fmt: skip

    def shade(self, left: float, bottom: float, width: float, height: float) -> None:
        """Shade a box, behind what is written."""
        from matplotlib.patches import Rectangle

        box = (left / self.width, bottom / self.height)
        size = (width / self.width, height / self.height)
        self.figures[-1].add_artist(Rectangle(box, *size, facecolor=GREY, edgecolor="none", zorder=-1))

    def section(self, words: str, first_inches: float) -> None:
        """Write a title, on the page where what comes first has room below it, under a line."""
        turned = self.need(_RULE_INCHES + _TITLE_INCHES + first_inches)
        if not turned:
            self._rule()
        self.text(self.left, self.top, words, 10.5, weight="bold")
        self.top -= _TITLE_INCHES

    def _rule(self) -> None:
        from matplotlib.lines import Line2D

        across, up = [self.left / self.width, self.right / self.width], [(self.top - 0.02) / self.height] * 2
        self.figures[-1].add_artist(Line2D(across, up, color="black", linewidth=0.8))
        self.top -= _RULE_INCHES

    def axes(self, height: float, legend: float) -> "Axes":
        """Axes of so many inches with their labels, and room for a legend to the right."""
        bottom = self.top - height
        indent = 0.4
        return self.figures[-1].add_axes((
            (self.left + indent) / self.width,
            (bottom + 0.36) / self.height,
            (self.right - self.left - indent - legend) / self.width,
            (height - 0.4) / self.height,
        ))  # fmt: skip
