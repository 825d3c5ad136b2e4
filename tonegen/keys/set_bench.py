"""A set that is played from another process, such as the page's: what is asked of it, and how it stands."""

from collections.abc import Mapping
from dataclasses import dataclass
from threading import Event, Thread
from typing import Any, Final

from tonegen.errors import BadValue
from tonegen.frozen import Frozen
from tonegen.keys.left import put_back_left
from tonegen.keys.playing import PlayedEvening, keep_pauses_short
from tonegen.keys.ports import MAY_LOSE_NOTES
from tonegen.keys.press_reader import PressReader
from tonegen.keys.set_live import PlayedSet, check_inputs
from tonegen.keys.set_times import cautions, song_costs
from tonegen.keys.sets import set_plan
from tonegen.setlist.records import SetList

_LOOK_SECONDS: Final = 0.5
_PRESS_SECONDS: Final = 0.05
_GATHER_SECONDS: Final = 0.03  # pedals and levers that move together are one state
_VIRTUAL: Final = "virtual "


@dataclass(frozen=True, slots=True)
class SetStanding(Frozen):
    """How a set stands that is played.

    state : as `Evening.state` says it. by_feet : pedals and levers that controls moved since it was asked
        last, with their travels.
    told : sentences for the player that are new.
    """

    state: Mapping[str, Any]
    by_feet: Mapping[str, float]
    told: tuple[str, ...] = ()


class SetBench:
    """All that is done at the ports of a set."""

    def __init__(self) -> None:
        """Nothing is opened."""
        self._played: PlayedSet | None = None
        self._ended = Event()
        self._attending: Thread | None = None
        self._reader: PressReader | None = None

    def read_presses(self) -> None:
        """Hear all inputs, to learn a press of a foot board. Raises NoSuchDevice where there is none."""
        self.put_back()
        self._reader = PressReader()

    def next_press(self, does: str) -> Mapping[str, str | int] | None:
        """Wait a moment for a press that can do this: see `PressReader.next`."""
        return None if self._reader is None else self._reader.next(does, _PRESS_SECONDS)

    def play(
        self, evening: SetList, place: int, without: tuple[str, ...], keyboards: tuple[str, ...]
    ) -> SetStanding:
        """Tune the receivers of a set, but some, for the song at a place, and listen to keyboards.

        keyboards : MIDI inputs by name, or "virtual NAME" for one that is made.
        Raises BadPreset for a set with a fault; BadValue for one without receivers; NoSuchDevice.
        """
        self.put_back()
        made = set_plan(evening).checked()
        if not set(evening.receivers) - {evening.receiver(name) for name in without}:
            raise BadValue("no receiver is left to play the set with")
        virtual = [name.removeprefix(_VIRTUAL) for name in keyboards if name.startswith(_VIRTUAL)]
        others = [name for name in keyboards if not name.startswith(_VIRTUAL)]
        check_inputs(evening, others)
        left: list[str] = []
        put_back_left(left.append)
        played = PlayedSet(made, place, without, passes=bool(keyboards))
        try:
            played.listen_to(others, virtual)
        except BaseException:
            played.close()
            raise
        played.playing.told.extend((*left, *cautions(made, song_costs(made))))
        if played.may_lose_notes:
            played.playing.told.append(MAY_LOSE_NOTES)
        keep_pauses_short()
        self._played = played
        self._ended.clear()
        self._attending = Thread(target=self._attend, args=(played,), daemon=True)
        self._attending.start()
        return self.stands()

    def _attend(self, played: PlayedSet) -> None:
        """See now and then who is there, and at once to what the pedals move."""
        while not self._ended.is_set():
            played.playing.follow_steel()
            played.look()
            if played.playing.moved.wait(_LOOK_SECONDS):
                self._ended.wait(_GATHER_SECONDS)
            played.playing.moved.clear()

    def next(self) -> SetStanding:
        """Go on. Raises BadValue where there is nowhere to go."""
        self._playing().next()
        return self.stands()

    def previous(self) -> SetStanding:
        """Go back. Raises BadValue where there is nowhere to go."""
        self._playing().previous()
        return self.stands()

    def load(self, number: int) -> SetStanding:
        """Have `next` lead to the song of that number."""
        self._playing().load(number)
        return self.stands()

    def move(self, travels: Mapping[str, float]) -> SetStanding:
        """Pedals and levers of the steel stand elsewhere."""
        self._playing().move(travels)
        return self.stands()

    def panic(self) -> SetStanding:
        """End everything that sounds."""
        self._playing().panic()
        return self.stands()

    def stands(self) -> SetStanding:
        """How it stands now; each sentence is told once, but for that of the song, which the state says."""
        playing, told = self._playing(), []
        here = playing.now_and_next()
        while playing.told:
            if (words := playing.told.popleft()) != here:
                told.append(words)
        return SetStanding(playing.state(), playing.moved_by_feet(), tuple(told))

    def _playing(self) -> PlayedEvening:
        if self._played is None:
            raise BadValue("the set is not played; tune its receivers first")
        return self._played.playing

    def put_back(self) -> None:
        """Put all receivers back and let go of the ports."""
        reader, self._reader = self._reader, None
        if reader is not None:
            reader.close()
        played, self._played = self._played, None
        if played is None or self._attending is None:
            return
        self._ended.set()
        played.playing.moved.set()
        self._attending.join()
        played.close()
