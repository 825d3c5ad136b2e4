"""The card for the gig bag: targets, drop, the beats of the grips that are played, and the tuning order.

It is drawn from a scene, or from the instrument's own grips, on as many pages as it takes.
"""

from dataclasses import dataclass, replace
from textwrap import shorten, wrap
from typing import TYPE_CHECKING, Final

import numpy as np

from tonegen.copedent import Copedent
from tonegen.drop import Drop
from tonegen.instrument import Instrument, State, TuningPoint
from tonegen.interval import FASTEST_COUNTABLE_BEATS_PER_SECOND, Audible
from tonegen.order.steps import Node, Order, Reference, TuningStep
from tonegen.paper.pages import Pages
from tonegen.paper.printing import DASHES, GREY
from tonegen.reads import readings_by_point, states_played
from tonegen.sounding import Sounding, SoundingInterval, interval_between, sound, tones_of_grip
from tonegen.synthesis.timbre import PURE
from tonegen.temperament import Temperament
from tonegen.tempering.scene import WantedGrip
from tonegen.words import signed, stiffness_not_known

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_ROW_INCHES: Final = 0.48  # of a string: three lines of type
_NUMBER_INCHES: Final = 0.36  # of the strings' numbers
_NARROWEST_COLUMN_INCHES: Final = 0.5
_LINE_INCHES: Final = 0.165
_LINE_LETTERS: Final = 105
_GRIP_INCHES: Final = 0.345
_STEP_INCHES: Final = 0.175
_NECK_INCHES: Final = 2.2
_LEGEND_LETTER_INCHES: Final = 0.07
_MOST_PAIRS: Final = 5
_ORDER_COLUMNS: Final = 2
_TONES_A_LINE: Final = 4
_LONGEST_BY: Final = 7  # "tone E4"


@dataclass(frozen=True, slots=True)
class Card:
    """What the card says.

    scene : the title of the scene whose grips it has, if any. stiff : whether the strings' own stiffness is
    reckoned with in the beats of the grips, where it is known, as in the order.
    """

    chart: Copedent
    temperament: Temperament
    drop: Drop
    order: Order
    grips: tuple[WantedGrip, ...]
    scene: str = ""
    stiff: bool = True

    @property
    def instrument(self) -> Instrument:
        """Whose card it is."""
        return self.chart.instrument

    def sounding(self, wanted: WantedGrip, fret: float = 0.0) -> Sounding:
        """A grip as it sounds at a fret."""
        reference_hz = self.chart.reference_hz
        tones = tones_of_grip(
            self.instrument, wanted.grip, wanted.state, fret, self.temperament, self.drop, reference_hz,
            replace(PURE, follows_string=self.stiff),
        )  # fmt: skip
        return sound(tones, reference_hz)


def own_grips(instrument: Instrument) -> tuple[WantedGrip, ...]:
    """The grips that the instrument has saved; of one without any, all its open strings together."""
    if not instrument.grips:
        everything = tuple(string.number for string in instrument.strings)
        state = instrument.state()
        return (WantedGrip(replace(instrument.grip_of(everything, state), name="Open strings"), state),)
    return tuple(WantedGrip(grip, instrument.state(grip.changes)) for grip in instrument.grips)


def draw(card: Card, paper: str = "a4") -> list["Figure"]:
    """All pages of the card, upright; paper : a4 or letter."""
    about = f"{card.temperament.name}; A4 = {card.chart.reference_hz:g} Hz; drop: {card.drop.name}"
    pages = Pages(paper, shorten(f"{card.instrument.title}; {card.temperament.name}", 90, placeholder="…"))
    pages.text(pages.left, pages.top, shorten(card.instrument.title, 62, placeholder="…"), 14, weight="bold")
    pages.top -= 0.27
    pages.text(pages.left, pages.top, shorten(about, 90, placeholder="…"), 11)
    pages.top -= 0.22
    if card.scene:
        pages.text(pages.left, pages.top, shorten(card.scene, 100, placeholder="…"), 10)
        pages.top -= 0.2
    _targets(pages, card)
    _drops(pages, card)
    _beats(pages, card)
    _order(pages, card)
    _along_the_neck(pages, card)
    return pages.figures


def _targets(pages: Pages, card: Card) -> None:
    """Strings by changes: note, cents from equal, and the Hz that a meter must read."""
    columns = card.chart.columns
    room = pages.right - pages.left - _NUMBER_INCHES
    most = int(room / _NARROWEST_COLUMN_INCHES)
    tables = -(-len(columns) // most)
    wide = -(-len(columns) // tables)
    for start in range(0, len(columns), wide):
        title = "Targets: note, cents from equal, and the Hz to read with only that change engaged"
        pages.section(title, 0.2 + _ROW_INCHES)
        _table(pages, card, columns[start : start + wide], room / max(wide, 8))
    if not all(target.asked for target in card.chart.targets):
        pages.need(_LINE_INCHES)
        pages.text(pages.left, pages.top - 0.02, "In brackets: not asked by any grip, left as it was", 8.8)
        pages.top -= _LINE_INCHES + 0.03


def _table(pages: Pages, card: Card, columns: tuple[State, ...], step: float) -> None:
    points = min(11.0, 11.0 * step / 0.62)
    small = max(8.0, points - 2.5)
    points = max(8.0, points)

    def middle(index: int) -> float:
        return pages.left + _NUMBER_INCHES + (index + 0.5) * step

    def head() -> None:
        for index, state in enumerate(columns):
            pages.text(middle(index), pages.top, state.typed, points, ha="center", weight="bold")
        pages.top -= 0.2

    head()
    for number, string in enumerate(card.instrument.strings):
        if pages.need(_ROW_INCHES):
            head()
        up = pages.top - _ROW_INCHES / 2
        if number % 2 == 0:
            pages.shade(pages.left, up - _ROW_INCHES / 2, pages.right - pages.left, _ROW_INCHES)
        pages.text(pages.left + 0.04, up, str(string.number), 14, va="center", weight="bold")
        for index, state in enumerate(columns):
            target = card.chart.tuned_in(string.number, state)
            if target is None:
                continue
            lines = (
                (0.31, target.note, small, "normal"),
                (0.0, target.offset_in_words, points, "bold"),
                (-0.32, f"{target.hz:.2f}", small, "normal"),
            )
            for higher, words, size, weight in lines:
                y = up + higher * _ROW_INCHES
                pages.text(middle(index), y, words, size, ha="center", va="center", weight=weight)
        pages.top -= _ROW_INCHES


def _drops(pages: Pages, card: Card) -> None:
    """What a meter reads of each target in the states that are played, where the cabinet gives."""
    states = states_played(card.instrument, (each.state for each in card.grips) if card.scene else None)
    shown = readings_by_point(card.instrument, card.temperament, card.drop, card.chart.reference_hz, states)
    lines = []
    for point, readings in shown.items():
        reads = ",  ".join(map(str, readings))
        lines += wrap(f"{_stop(point)}:  {reads}", _LINE_LETTERS, subsequent_indent="     ")
    if not lines:
        return
    pages.section(f"With drop {card.drop.name} a meter reads, in the states that are played", _LINE_INCHES)
    for line in lines:
        pages.need(_LINE_INCHES)
        pages.text(pages.left, pages.top, line, 8.8)
        pages.top -= _LINE_INCHES


def _beats(pages: Pages, card: Card) -> None:
    """For each grip, in the scene's order, the pairs that are heard best: beats, side, where to listen."""
    pages.section(
        "Grips: beats in 10 s without the bar (+ wide, − narrow, ~ too fast), at so many Hz", _GRIP_INCHES
    )
    column = (pages.right - pages.left) / _MOST_PAIRS
    for wanted in card.grips:
        pages.need(_GRIP_INCHES)
        name = shorten(wanted.grip.name, 56, placeholder="…")
        pages.text(pages.left, pages.top, name, 9, weight="bold")
        pages.text(pages.right, pages.top, _played(wanted), 9, ha="right")
        for index, pair in enumerate(heard_best(card.sounding(wanted))):
            x = pages.left + 0.1 + index * column
            pages.text(x, pages.top - 0.155, _pair_in_words(pair), 9)
        pages.top -= _GRIP_INCHES
    if card.order.unknown_wire:
        so = "the beats leave it out, and the accuracy is wider for it"
        for line in wrap(stiffness_not_known(card.order.unknown_wire, so), _LINE_LETTERS):
            pages.need(_LINE_INCHES)
            pages.text(pages.left, pages.top, line, 8.8)
            pages.top -= _LINE_INCHES


def _played(wanted: WantedGrip) -> str:
    """What is engaged, and at which frets it is played."""
    listed = ", ".join(f"{fret:g}" for fret in wanted.frets)
    frets = f"; fret{'s' * (len(wanted.frets) > 1)} {listed}" if any(wanted.frets) else ""
    return shorten(f"{wanted.state}{frets}", 36, placeholder="…")


def heard_best(sounding: Sounding) -> tuple[SoundingInterval, ...]:
    """The intervals of a grip whose beats are heard best: within an octave, and low among the partials."""
    told = [each for each in sounding.intervals if each.ratio.lower < each.ratio.upper < 2 * each.ratio.lower]
    told = told or list(sounding.intervals)
    chosen = sorted(told, key=lambda each: each.ratio.upper * each.ratio.lower)[:_MOST_PAIRS]
    return tuple(sorted(chosen, key=lambda each: (each.low.hz, each.high.hz)))


def _pair_in_words(interval: SoundingInterval) -> str:
    strings = f"{interval.low.string}–{interval.high.string}"
    where = f"at {interval.coincident_hz:.0f}"
    if interval.audible is Audible.ROUGHNESS:
        return f"{strings}  ~  {where}"
    beats = round(interval.beats_per_second * 10)
    return f"{strings}  {signed(beats, 0) if beats else '0'}  {where}"


def _order(pages: Pages, card: Card) -> None:
    """The steps in columns, as short as they can be said, with the accuracy that they leave."""
    steps = card.order.steps
    tones = list(dict.fromkeys(str(step.against) for step in steps if isinstance(step.against, Reference)))
    only = f"; {tones[0]}" if len(tones) == 1 else ""
    pages.section(f"Tuning order: beats in 10 s from pure, ± cents when done{only}", 1.0)
    for first in range(0, len(tones) if not only else 0, _TONES_A_LINE):
        pages.need(_STEP_INCHES)
        pages.text(pages.left, pages.top, "; ".join(tones[first : first + _TONES_A_LINE]), 8.5)
        pages.top -= _STEP_INCHES
    done = 0
    while done < len(steps):
        rows = min(-(-(len(steps) - done) // _ORDER_COLUMNS), int(pages.room / _STEP_INCHES) - 1)
        if rows < 1:
            pages.turn()
            continue
        shown = steps[done : done + rows * _ORDER_COLUMNS]
        for column in range(-(-len(shown) // rows)):
            x = pages.left + column * (pages.right - pages.left) / _ORDER_COLUMNS
            _step_head(pages, x)
            for row, step in enumerate(shown[column * rows : (column + 1) * rows]):
                y = pages.top - (row + 1) * _STEP_INCHES
                _step(pages, x, y, done + column * rows + row + 1, step, card)
        pages.top -= (rows + 1) * _STEP_INCHES
        done += len(shown)


def _step_head(pages: Pages, x: float) -> None:
    for at, words, side in (
        (0.26, "tune", "left"), (1.1, "by", "left"), (1.67, "engaged", "left"), (2.17, "as", "left"),
        (2.38, "beats", "left"), (3.32, "Hz", "right"), (3.64, "±", "right"),
    ):  # fmt: skip
        pages.text(x + at, pages.top, words, 8, ha=side)


def _step(pages: Pages, x: float, y: float, number: int, step: TuningStep, card: Card) -> None:
    points = 8.5
    pages.text(x + 0.2, y, f"{number}", points, ha="right")
    tune = f"{_stop(step.tune)} {card.instrument.note(step.tune)}"
    pages.text(x + 0.26, y, tune, points, weight="bold")
    pages.text(x + 1.1, y, _against(step.against), points)
    pages.text(x + 1.67, y, step.state.typed, points)
    pages.text(x + 2.17, y, ":".join(map(str, step.partials)), points)
    pages.text(x + 2.38, y, _count(step), points)
    pages.text(x + 3.32, y, f"{step.coincident_hz:.0f}", points, ha="right")
    pages.text(x + 3.64, y, f"{step.accuracy_cents:.1f}", points, ha="right")


def _against(node: Node) -> str:
    if isinstance(node, TuningPoint):
        return _stop(node)
    return node.name if len(node.name) <= _LONGEST_BY else node.name.removeprefix("tone ")


def _stop(point: TuningPoint) -> str:
    return f"{point.string} {point.stop if point.changes else ''}".rstrip()


def _count(step: TuningStep) -> str:
    beats = round(step.beats_per_second * 10)
    if not beats:
        return "pure"
    move = "up" if (beats > 0) == step.tune_is_high else "down"
    return f"{abs(beats)} {move}"


def _along_the_neck(pages: Pages, card: Card) -> None:
    """Beat rates by fret: they double every twelve."""
    lines = _lines(card)
    pages.section("Beats along the neck", _NECK_INCHES if lines else _LINE_INCHES)
    if not lines:
        pages.text(pages.left, pages.top, "Nothing to draw: the pairs you hear best stand still.", 9.5)
        return
    longest = max(len(line.label) for line in lines)
    legend = max(2.0, 0.6 + longest * _LEGEND_LETTER_INCHES)
    axes = pages.axes(min(pages.room, 1.5 * _NECK_INCHES), legend)
    frets = np.arange(0, min(card.instrument.frets, 15) + 1)
    highest = 1.0
    for line, dashes in zip(lines, DASHES, strict=False):
        rates = [line.rate(card.sounding(line.wanted, float(fret))) for fret in frets]
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

    wanted: WantedGrip
    strings: tuple[int | None, int | None]
    label: str

    def rate(self, sounding: Sounding) -> float:
        """Its beats a second, without the side."""
        pair = (tone for tone in sounding.tones if tone.string in self.strings)
        low, high = sorted(pair, key=lambda tone: tone.hz)  # a string that the bar cannot reach may lie above
        return abs(interval_between(low, high).beats_per_second)


def _lines(card: Card) -> list[_Line]:
    """What is worth drawing: of each state the pair that beats fastest and can still be counted."""
    found: dict[str, _Line] = {}
    for wanted in card.grips:
        state = str(wanted.state)
        counted = [each for each in heard_best(card.sounding(wanted)) if each.audible is Audible.BEATS]
        if counted and state not in found:
            fastest = max(counted, key=lambda each: abs(each.beats_per_second))
            strings = (fastest.low.string, fastest.high.string)
            label = f"{state}: {strings[0]}–{strings[1]}, {fastest.ratio} {fastest.direction.value}"
            found[state] = _Line(wanted, strings, label)
    return list(found.values())[: len(DASHES)]
