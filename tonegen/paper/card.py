"""The card for the gig bag: one printed page with targets, the beats of the grips, and the tuning order.

Black on white, large type, lines told apart by their dashes: it is read at arm's length in low light.
"""

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from tonegen.copedent import Copedent
from tonegen.drop import Drop
from tonegen.instrument import Grip, Instrument, TuningPoint
from tonegen.interval import FASTEST_COUNTABLE_BEATS_PER_SECOND, Audible
from tonegen.order.plan import Node, Order, Reference, TuningStep
from tonegen.paper.printing import DASHES, GREY
from tonegen.sounding import Sounding, SoundingInterval, sound, tones_of_grip
from tonegen.temperament import Temperament
from tonegen.words import signed

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_A4_INCHES: Final = (8.27, 11.69)
_MARGIN_INCHES: Final = 0.4
_TITLE_INCHES: Final = 0.22
_RULE_INCHES: Final = 0.1
_GRIP_INCHES: Final = 0.34
_STEP_INCHES: Final = 0.175
_NECK_INCHES: Final = 1.65
_LEGEND_LETTER_INCHES: Final = 0.07
_MOST_GRIPS: Final = 10
_MOST_GRIPS_BELOW_MANY_STRINGS: Final = 4  # so that the targets of more than ten strings stay legible
_MOST_PAIRS: Final = 4
_ORDER_COLUMNS: Final = 3


@dataclass(frozen=True, slots=True)
class Card:
    """What the card says."""

    chart: Copedent
    temperament: Temperament
    drop: Drop
    order: Order
    grips: tuple[Grip, ...]

    @property
    def instrument(self) -> Instrument:
        """Whose card it is."""
        return self.chart.instrument

    def sounding(self, grip: Grip, fret: float = 0.0) -> Sounding:
        """A grip as it sounds at a fret."""
        state = self.instrument.state(grip.changes)
        reference_hz = self.chart.reference_hz
        tones = tones_of_grip(self.instrument, grip, state, fret, self.temperament, self.drop, reference_hz)
        return sound(tones, reference_hz)


def grips_for_card(instrument: Instrument) -> tuple[Grip, ...]:
    """The saved grips that fit on the page: the first of each state, then the others as they come.

    Of an instrument without any, all its open strings together.
    """
    grips = instrument.grips
    if not grips:
        everything = tuple(string.number for string in instrument.strings)
        return (replace(instrument.grip_of(everything, instrument.state()), name="Open strings"),)
    first = {grip.changes: grip for grip in reversed(grips)}
    chosen = [grip for grip in grips if first[grip.changes] is grip]
    chosen += [grip for grip in grips if grip not in chosen]
    kept = chosen[: _MOST_GRIPS if len(instrument.strings) <= 10 else _MOST_GRIPS_BELOW_MANY_STRINGS]
    return tuple(grip for grip in grips if grip in kept)


def draw(card: Card) -> "Figure":
    """The whole page, A4 upright."""
    from matplotlib.figure import Figure

    width, height = _A4_INCHES
    figure = Figure(figsize=_A4_INCHES)
    page = _Page(figure, width, height)
    _heading(page, card)
    _targets(page, card)
    _beats(page, card)
    _order(page, card)
    _along_the_neck(page, card)
    return figure


class _Page:
    """A page that is filled from the top, in inches."""

    def __init__(self, figure: "Figure", width: float, height: float) -> None:
        self.figure, self.width, self.height = figure, width, height
        self.top = height - _MARGIN_INCHES
        self.left, self.right = _MARGIN_INCHES, width - _MARGIN_INCHES

    def text(self, x: float, y: float, words: str, points: float, **how: Any) -> None:
        self.figure.text(
            x / self.width, y / self.height, words, fontsize=points, va=how.pop("va", "top"), **how
        )

    def line(self, x: tuple[float, float], y: tuple[float, float], **how: Any) -> None:
        from matplotlib.lines import Line2D

        across = [each / self.width for each in x]
        up = [each / self.height for each in y]
        self.figure.add_artist(Line2D(across, up, color="black", **how))

    def shade(self, left: float, bottom: float, width: float, height: float) -> None:
        from matplotlib.patches import Rectangle

        box = (left / self.width, bottom / self.height)
        size = (width / self.width, height / self.height)
        self.figure.add_artist(Rectangle(box, *size, facecolor=GREY, edgecolor="none", zorder=-1))

    def title(self, words: str) -> None:
        self.text(self.left, self.top, words, 10.5, weight="bold")
        self.top -= _TITLE_INCHES

    def rule(self) -> None:
        self.line((self.left, self.right), (self.top - 0.02, self.top - 0.02), linewidth=0.8)
        self.top -= _RULE_INCHES

    def axes(self, height: float, legend: float) -> "Axes":
        bottom = self.top - height
        indent = 0.4
        return self.figure.add_axes((
            (self.left + indent) / self.width,
            (bottom + 0.36) / self.height,
            (self.right - self.left - indent - legend) / self.width,
            (height - 0.4) / self.height,
        ))  # fmt: skip


def _heading(page: _Page, card: Card) -> None:
    page.text(page.left, page.top, card.instrument.title, 14, weight="bold")
    page.top -= 0.27
    page.text(
        page.left,
        page.top,
        f"{card.temperament.name}    A4 = {card.chart.reference_hz:g} Hz    drop: {card.drop.name}",
        11,
    )
    page.top -= 0.28


def _targets(page: _Page, card: Card) -> None:
    """Strings by changes: note, cents from equal, and the Hz that a meter must read."""
    page.title("Targets: note, cents from equal, and the Hz to read with only that change engaged")
    chart = card.chart
    columns = chart.columns
    first = 0.36
    step = (page.right - page.left - first) / len(columns)
    strings = card.instrument.strings
    row = min(0.5, (page.top - _rest_inches(card)) / len(strings))
    points = min(11.0, 11.0 * step / 0.6)
    small = max(8.0, points - 2.5)
    for index, changes in enumerate(columns):
        x = page.left + first + (index + 0.5) * step
        page.text(x, page.top, "+".join(changes) or "open", points, ha="center", weight="bold")
    page.top -= 0.2
    for number, string in enumerate(strings):
        middle = page.top - (number + 0.5) * row
        if number % 2 == 0:
            page.shade(page.left, middle - row / 2, page.right - page.left, row)
        page.text(page.left + 0.04, middle, str(string.number), 14, va="center", weight="bold")
        for index, changes in enumerate(columns):
            target = chart.target(TuningPoint(string.number, changes))
            if target is None:
                continue
            x = page.left + first + (index + 0.5) * step
            lines = (
                (0.31, target.note, small, "normal"),
                (0.0, signed(target.offset_cents, 1), points, "bold"),
                (-0.32, f"{target.hz:.2f}", small, "normal"),
            )
            for up, words, size, weight in lines:
                page.text(x, middle + up * row, words, size, ha="center", va="center", weight=weight)
    page.top -= len(strings) * row
    page.rule()


def _rest_inches(card: Card) -> float:
    """What the page needs below the targets."""
    grips = _TITLE_INCHES + _RULE_INCHES + _GRIP_INCHES * -(-len(card.grips) // 2)
    steps = _TITLE_INCHES + _RULE_INCHES + _STEP_INCHES * -(-len(card.order.steps) // _ORDER_COLUMNS)
    return _MARGIN_INCHES + grips + steps + _NECK_INCHES + _RULE_INCHES + _TITLE_INCHES


def _beats(page: _Page, card: Card) -> None:
    """For each grip the pairs that are heard best, with their beats and side."""
    page.title("Grips: beats in 10 seconds without the bar (+ wide, − narrow, 0 pure, ~ too fast to count)")
    rows = (len(card.grips) + 1) // 2
    height = _GRIP_INCHES
    column = (page.right - page.left) / 2
    for index, grip in enumerate(card.grips):
        x = page.left + (index // rows) * column
        y = page.top - (index % rows) * height
        page.text(x, y, grip.name, 9, weight="bold")
        pairs = "    ".join(_pair_in_words(each) for each in heard_best(card.sounding(grip)))
        page.text(x + 0.1, y - 0.155, pairs, 9.5)
    page.top -= rows * height
    page.rule()


def heard_best(sounding: Sounding) -> tuple[SoundingInterval, ...]:
    """The intervals of a grip whose beats are heard best: within an octave, and low among the partials."""
    told = [each for each in sounding.intervals if each.ratio.lower < each.ratio.upper < 2 * each.ratio.lower]
    told = told or list(sounding.intervals)
    chosen = sorted(told, key=lambda each: each.ratio.upper * each.ratio.lower)[:_MOST_PAIRS]
    return tuple(sorted(chosen, key=lambda each: (each.low.hz, each.high.hz)))


def _pair_in_words(interval: SoundingInterval) -> str:
    strings = f"{interval.low.string}–{interval.high.string}"
    if interval.audible is Audible.ROUGHNESS:
        return f"{strings} ~"
    beats = round(interval.beats_per_second * 10)
    return f"{strings} {signed(beats, 0) if beats else '0'}"


def _order(page: _Page, card: Card) -> None:
    """The steps in columns, as short as they can be said; the state is that of the two stops together."""
    tone = next((step.against for step in card.order.steps if isinstance(step.against, Reference)), None)
    page.title(f"Tuning order: beats in 10 seconds, up or down from pure{f'; {tone}' if tone else ''}")
    steps = card.order.steps
    rows = -(-len(steps) // _ORDER_COLUMNS)
    height, points = _STEP_INCHES, 8.8
    column = (page.right - page.left) / _ORDER_COLUMNS
    for index, step in enumerate(steps):
        x = page.left + (index // rows) * column
        y = page.top - (index % rows) * height
        page.text(x + 0.2, y, f"{index + 1}", points, ha="right")
        words = f"{_stop(step.tune)} {card.instrument.note(step.tune)}"
        page.text(x + 0.26, y, words, points, weight="bold")
        page.text(x + 1.02, y, f"by {_against(step.against)}", points)
        page.text(x + 1.72, y, _count(step), points)
    page.top -= rows * height
    page.rule()


def _against(node: Node) -> str:
    return _stop(node) if isinstance(node, TuningPoint) else node.name


def _stop(point: TuningPoint) -> str:
    return f"{point.string} {'+'.join(point.changes)}".rstrip()


def _count(step: TuningStep) -> str:
    beats = round(step.beats_per_second * 10)
    if not beats:
        return f"{step.ratio} pure"
    move = "up" if (beats > 0) == step.tune_is_high else "down"
    return f"{step.ratio} {abs(beats)} {move}"


def _along_the_neck(page: _Page, card: Card) -> None:
    """Beat rates by fret: they double every twelve."""
    height = page.top - _MARGIN_INCHES
    page.title("Beats along the neck")
    lines = _lines(card)
    if not lines:
        page.text(page.left, page.top, "Nothing to draw: the pairs you hear best stand still.", 9.5)
        return
    longest = max(len(line.label) for line in lines)
    axes = page.axes(height - 0.23, max(2.0, 0.6 + longest * _LEGEND_LETTER_INCHES))
    frets = np.arange(0, min(card.instrument.frets, 15) + 1)
    highest = 1.0
    for line, dashes in zip(lines, DASHES, strict=False):
        rates = [line.rate(card.sounding(line.grip, float(fret))) for fret in frets]
        highest = max(highest, rates[-1])
        axes.plot(frets, rates, color="black", linestyle=dashes, linewidth=1.6, label=line.label)
    too_fast = FASTEST_COUNTABLE_BEATS_PER_SECOND
    axes.axhspan(too_fast, 10 * too_fast, color=GREY, zorder=-1)
    axes.set_ylim(0, min(highest * 1.1, 1.3 * too_fast))
    axes.set_xlim(0, frets[-1])
    axes.set_xticks(frets)
    axes.tick_params(labelsize=8.5)
    axes.set_xlabel("fret", fontsize=9, labelpad=1)
    axes.set_ylabel("beats a second", fontsize=9)
    axes.grid(color="0.75", linewidth=0.5)
    axes.legend(fontsize=8.5, loc="center left", bbox_to_anchor=(1.0, 0.5), handlelength=3.5, frameon=False)


@dataclass(frozen=True, slots=True)
class _Line:
    """A pair of a grip whose beats are drawn along the neck."""

    grip: Grip
    strings: tuple[int | None, int | None]
    label: str

    def rate(self, sounding: Sounding) -> float:
        """Its beats a second, without the side."""
        for each in sounding.intervals:
            if (each.low.string, each.high.string) == self.strings:
                return abs(each.beats_per_second)
        return 0.0


def _lines(card: Card) -> list[_Line]:
    """What is worth drawing: of each state the pair that beats fastest and can still be counted."""
    found: dict[str, _Line] = {}
    for grip in card.grips:
        state = "+".join(grip.changes) or "open"
        counted = [each for each in heard_best(card.sounding(grip)) if each.audible is Audible.BEATS]
        if counted and state not in found:
            fastest = max(counted, key=lambda each: abs(each.beats_per_second))
            strings = (fastest.low.string, fastest.high.string)
            label = f"{state}: {strings[0]}–{strings[1]}, {fastest.ratio} {fastest.direction.value}"
            found[state] = _Line(grip, strings, label)
    return list(found.values())[: len(DASHES)]
