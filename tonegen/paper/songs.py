"""The songs of a set on one page, for the music stand: twenty-four are read at arm's length in low light.

How large: a capital of DejaVu Sans is 0.73 of the type's size, so at 17 points 4.4 mm, which at 0.7 m are 21
minutes of arc. ISO 9241-303 prefers 20 to 22 and wants 16 at least (from memory); on a dark stage an eye
resolves about half as much as by day, 10 minutes in place of 5 (from memory): that is far from 21. Key and
fret, looked for while the hands are busy, have 23 points, the line to remember 11: it is read before the song
begins. All is black on white and bold where it is large, since thin strokes go first in the dark.
"""

from bisect import bisect_right
from collections.abc import Sequence
from textwrap import shorten
from typing import TYPE_CHECKING, Final

from tonegen.paper.pages import Pages
from tonegen.setlist.records import SetList
from tonegen.setlist.states import SongState

if TYPE_CHECKING:
    from matplotlib.figure import Figure

ON_A_PAGE: Final = 24
KEY_POINTS: Final = 23.0
NAME_POINTS: Final = 17.0
LINE_POINTS: Final = 11.0
_TITLE_POINTS: Final = 12.0
_HEAD_INCHES: Final = 0.3
_COLUMNS_INCHES: Final = (0.5, 0.8, 0.75)  # number, key, fret
_GAP_INCHES: Final = 0.1
_UPPER, _LOWER = 0.5, 0.91  # of a row: where name and line stand
_WIDEST: Final = 1.2  # of the columns, with larger type
_LARGEST: Final = 1.6  # fewer songs have taller rows and larger type, up to this
_SMALLEST: Final = 8 / 11  # of its size has what is long, so that a line has 8 points
_AS_DRAWN: Final = 1.04  # letters are set a little wider than their outlines say
_POINTS_PER_INCH: Final = 72


def draw(evening: SetList, songs: Sequence[SongState], paper: str = "a4") -> list["Figure"]:
    """The songs in their order, 24 on a page; paper : a4 or letter."""
    pages = Pages(paper, shorten(evening.title, 90, placeholder="…"))
    pages.text(pages.left, pages.top, shorten(evening.title, 80, placeholder="…"), _TITLE_POINTS)
    pages.top -= _HEAD_INCHES
    for start in range(0, len(songs), ON_A_PAGE):
        if start:
            pages.turn()
        here = songs[start : start + ON_A_PAGE]
        larger = min(_LARGEST, ON_A_PAGE / len(here))
        row = pages.room / ON_A_PAGE * larger
        for index, state in enumerate(here):
            if index % 2:
                pages.shade(pages.left, pages.top - row, pages.right - pages.left, row)
            _song(pages, state, bool(evening.instrument), row, larger)
            pages.top -= row
    return pages.figures


def _song(pages: Pages, state: SongState, has_fret: bool, row: float, larger: float) -> None:
    """Number, key and fret in columns, the name beside them, and below it the line to remember."""
    middle, at = pages.top - row / 2, pages.left
    columns = [(str(state.song.number), LINE_POINTS), (state.key_name, KEY_POINTS)]
    columns += [(f"{state.fret:g}", KEY_POINTS)] if has_fret else []
    for (words, points), usual in zip(columns, _COLUMNS_INCHES, strict=False):
        width = usual * min(larger, _WIDEST)
        words, points = _fitting(words, points * larger, width - _GAP_INCHES)
        pages.text(at, middle, words, points, va="center_baseline", weight="bold")
        at += width
    room = pages.right - at
    name, points = _fitting(state.song.name, NAME_POINTS * larger, room)
    if not state.song.line:
        pages.text(at, middle, name, points, va="center_baseline", weight="bold")
        return
    pages.text(at, pages.top - _UPPER * row, name, points, va="baseline", weight="bold")
    line, points = _fitting(state.song.line, LINE_POINTS * larger, room, weight="normal")
    pages.text(at, pages.top - _LOWER * row, line, points, va="baseline")


def _fitting(words: str, points: float, inches: float, weight: str = "bold") -> tuple[str, float]:
    """What fits into so much room: somewhat smaller; cut where that is not enough."""
    wide = _width_inches(words, points, weight)
    if wide <= inches:
        return words, points
    points *= max(inches / wide, _SMALLEST)
    if wide * _SMALLEST <= inches:
        return words, points
    cut = [f"{words[:length].rstrip()}…" for length in range(1, len(words))]
    fit = bisect_right(cut, inches, key=lambda some: _width_inches(some, points, weight))
    return cut[max(fit - 1, 0)], points


def _width_inches(words: str, points: float, weight: str) -> float:
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import text_to_path

    font = FontProperties(weight=weight, size=points)
    width, _, _ = text_to_path.get_text_width_height_descent(words, font, ismath=False)
    return float(width) / _POINTS_PER_INCH * _AS_DRAWN
