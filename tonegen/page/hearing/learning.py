"""Each string heard alone, twice, and kept with the instrument: its stiffness, its partials' own ways."""

from datetime import date
from typing import Final

from msgspec import Struct
from msgspec.structs import replace

from tonegen.errors import BadValue, TonegenError
from tonegen.instrument import Instrument, TuningPoint
from tonegen.listen.beating import HeardBeating
from tonegen.listen.heard import UnreadSound
from tonegen.listen.learned import FEWEST_PICKS, LearnedString
from tonegen.listen.spectrum import Expected
from tonegen.page.hearing.bench import HeardPick, Wanted
from tonegen.page.hearing.shown import Hearing
from tonegen.page.part import Host, Standing
from tonegen.presets.learned import learned_days, save_learned
from tonegen.setup.listened import expected, target
from tonegen.words import many

_FRET: Final = 0.0


class LearnedRow(Struct, frozen=True):
    """A string in the state of the pedals: its note, and how far it is learned, in words."""

    string: int
    note: str
    words: str
    learned: bool


class LearnedView(Struct, tag="learned", frozen=True):
    """The strings. which : of these the last pick was one, and the player says which. keeps : so many new."""

    rows: tuple[LearnedRow, ...]
    which: tuple[int, ...] = ()
    keeps: int = 0


class LearnedAlone:
    """Strings that are picked alone, in any order, each twice."""

    words = "Pick each string alone, twice, at fret 0; let it ring for a second, and damp it before the next."

    def __init__(self, host: Host) -> None:
        """Nothing is learned yet. Raises BadValue where a pedal is half-way."""
        self._host = host
        self._at: Standing | None = None
        self._instrument: Instrument | None = None
        self._expected: tuple[Expected, ...] = ()
        self._points: dict[int, TuningPoint] = {}
        self._picks: dict[int, list[int]] = {}
        self._new: dict[TuningPoint, LearnedString] = {}
        self._words: dict[TuningPoint, str] = {}
        self._days: dict[TuningPoint, date] = {}
        self._which: tuple[int, tuple[int, ...]] | None = None
        self.wanted()

    def wanted(self) -> Wanted:
        """The strings in the state of the pedals, whatever was learned of them before."""
        at = self._host.at
        if self._at is at:
            return self._expected
        state = at.rig.state(at.playing.travels)
        instrument = at.rig.instrument
        numbers = [string.number for string in instrument.strings]
        points = {number: instrument.point(number, state) for number in numbers}
        found = tuple(expected(at.rig, target(at.rig, number, state, _FRET)) for number in numbers)
        if instrument is not self._instrument:
            self._instrument = instrument
            self._new, self._words, self._days = {}, {}, {}
            try:
                self._days = dict(learned_days(instrument))
            except TonegenError as error:
                self._host.complain(str(error))
        self._at = at
        if [each.hz for each in found] != [each.hz for each in self._expected] or points != self._points:
            self._expected, self._points = found, points
            self._picks, self._which = {}, None
            self._show()
        return self._expected

    def told(self, heard: HeardPick | HeardBeating, view: Hearing) -> Hearing:
        """Count the pick for its string; where two play its note, ask."""
        assert isinstance(heard, HeardPick)
        if heard.why_not:
            return replace(view, words=f"That does not count: {heard.why_not}.")
        if len(heard.strings) > 1:
            self._which = heard.number, heard.strings
            self._show()
            strings = " or ".join(map(str, heard.strings))
            return replace(view, words=f"String {strings}? Both play this note; say which it was.")
        return replace(view, words=self._count(heard.string, heard.number))

    def say_which(self, string: int) -> None:
        """The last pick was this string. Raises BadValue where nobody asked."""
        if self._which is None or string not in self._which[1]:
            raise BadValue("there is no pick of that string to be told")
        self._count(string, self._which[0])

    def _count(self, string: int, number: int) -> str:
        self._which = None
        picks = self._picks.setdefault(string, [])
        picks.append(number)
        self._words.pop(self._points[string], None)
        self._show()
        more = FEWEST_PICKS - len(picks)
        return f"Heard string {string}." + (f" Once more: {many(more, 'pick')}." if more > 0 else "")

    def due(self) -> tuple[tuple[int, tuple[int, ...], Expected], ...]:
        """Strings that were picked often enough to be learned: string, its picks, what it is."""
        ready = [string for string, picks in self._picks.items() if len(picks) >= FEWEST_PICKS]
        found = []
        for string in ready:
            one = next(each for each in self._expected if each.string == string)
            found.append((string, tuple(self._picks.pop(string)), one))
        return tuple(found)

    def learned(self, string: int, what: LearnedString | UnreadSound) -> None:
        """What came of it."""
        point = self._points[string]
        if isinstance(what, LearnedString):
            self._new[point] = what
            self._words[point] = f"heard twice, alike within {what.alike_cents:.2f} cents: not kept yet"
        else:
            self._words[point] = f"not learned: {what}"
        self._show()

    def keep(self) -> None:
        """Keep with the instrument what is new. Raises BadValue where nothing is; CannotWrite, BadPreset."""
        if not self._new or self._instrument is None:
            raise BadValue("nothing new was learned; pick a string alone, twice")
        today = date.today()
        save_learned(self._instrument, self._new, today)
        for point in self._new:
            self._days[point] = today
            self._words.pop(point, None)
        self._new = {}
        self._show()

    def _show(self) -> None:
        assert self._instrument is not None
        rows = tuple(
            LearnedRow(string, self._instrument.note(point), self._said(string, point), point in self._days)
            for string, point in self._points.items()
        )
        self._host.post(LearnedView(rows, self._which[1] if self._which else (), len(self._new)))

    def _said(self, string: int, point: TuningPoint) -> str:
        if picks := self._picks.get(string):
            return f"picked {many(len(picks), 'time')}"
        if words := self._words.get(point):
            return words
        if day := self._days.get(point):
            return f"learned on {day}; learn it again once it is new"
        return "not learned"
