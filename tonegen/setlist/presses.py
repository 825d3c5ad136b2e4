"""Which presses of a foot count, and which song they lead to.

Feet are in the dark: a switch bounces, a board sends its program when it is switched on, a heel hits the
wrong number. So one press never counts twice, and no number counts that nobody meant.

Times are seconds of any steady clock, given by whoever calls.
"""

from collections.abc import Hashable
from dataclasses import dataclass
from typing import Final

from tonegen.errors import BadValue
from tonegen.setlist.records import Action, SetList

# Common practice, no source: boards send what they stand at within moments of being switched on.
SECONDS_WITHOUT_NUMBERS: Final = 1.0
SECONDS_TO_CONFIRM: Final = 2.0


@dataclass(frozen=True, slots=True)
class PressOutcome:
    """What became of a press.

    goes_to : the place of the song that it leads to; None where the set stays where it is.
    why : what the player should know, "" for nothing.
    """

    goes_to: int | None = None
    why: str = ""


class Presses:
    """Where an evening is, and which song comes next.

    place, next_place : of the song now, from 0, -1 before the first; of the one that `next` leads to, None
        after the last.
    held : nothing goes on until it is let go.
    """

    def __init__(self, evening: SetList, place: int = 0) -> None:
        """The song at this place is played; none yet at -1."""
        self._evening = evening
        self.held = False
        self._came: dict[str, float] = {}  # each port, when
        self._seen: dict[Hashable, float] = {}  # each press, when last
        self._asked: tuple[int, float] | None = None  # a number that must come again, and when it came
        self._be_at(place)

    def _be_at(self, place: int) -> None:
        self.place = place
        self.next_place = place + 1 if place + 1 < len(self._evening.songs) else None
        self._asked = None

    def port_came(self, port: str, now: float) -> None:
        """A port was opened, or is back: its numbers do not count for a second."""
        self._came[port] = now

    def press(
        self, control: Hashable, action: Action, now: float, number: int | None = None, port: str = ""
    ) -> PressOutcome:
        """A control was pressed; `number` is that of the song, where the message names one.

        control : what knows it again. port : where it came from.
        """
        if self._is_same_press((control, number), now):
            return PressOutcome()
        if action is Action.HOLD:
            return self.hold(not self.held)
        if action is Action.NUMBER and (why := self._too_early(port, now)):
            return PressOutcome(why=why)
        if action not in (Action.NEXT, Action.PREVIOUS, Action.NUMBER):
            return PressOutcome()
        if self.held:
            return PressOutcome(why="Held: nothing goes on until hold is pressed again.")
        if action is Action.NUMBER and number is not None:
            return self._number(number, now)
        return self._one_on() if action is Action.NEXT else self._one_back()

    def hold(self, held: bool) -> PressOutcome:
        """Let nothing go on, or let it again."""
        self.held = held
        self._asked = None
        return PressOutcome(why="Held." if held else "Goes on again.")

    def load(self, number: int, now: float, port: str = "") -> PressOutcome:
        """Have `next` lead to a song, which is only shown till then."""
        if why := self._too_early(port, now):
            return PressOutcome(why=why)
        try:
            self.next_place = self._evening.place_of(number)
        except BadValue as error:
            return PressOutcome(why=f"{error}.")
        return PressOutcome()

    def _is_same_press(self, press: Hashable, now: float) -> bool:
        """Whether this comes too soon after the last; each, counted or not, begins the time anew."""
        before = self._seen.get(press)
        self._seen[press] = now
        return before is not None and now - before < self._evening.again_seconds

    def _too_early(self, port: str, now: float) -> str:
        if now - self._came.get(port, float("-inf")) >= SECONDS_WITHOUT_NUMBERS:
            return ""
        return "A number that came with the port itself was not taken."

    def _one_on(self) -> PressOutcome:
        if self.next_place is None:
            return PressOutcome(why="That was the last song.")
        return self._goes_to(self.next_place)

    def _one_back(self) -> PressOutcome:
        if self.place <= 0:
            return PressOutcome(why="There is none before the first song.")
        return self._goes_to(self.place - 1)

    def _number(self, number: int, now: float) -> PressOutcome:
        try:
            place = self._evening.place_of(number)
        except BadValue as error:
            return PressOutcome(why=f"{error}.")
        if place == self.place:
            self._asked = None
            return PressOutcome()
        if abs(place - self.place) > 1 and not self._evening.jumps_at_once:
            # a board that says a number twice at once says it once
            within = max(SECONDS_TO_CONFIRM, self._evening.again_seconds + SECONDS_WITHOUT_NUMBERS)
            if self._asked is None or self._asked[0] != number or now - self._asked[1] > within:
                self._asked = number, now
                name = self._evening.songs[place].name
                return PressOutcome(
                    why=f"{number}, {name}, is not the next song: send the number again to go there."
                )
        return self._goes_to(place)

    def _goes_to(self, place: int) -> PressOutcome:
        self._be_at(place)
        return PressOutcome(place)
