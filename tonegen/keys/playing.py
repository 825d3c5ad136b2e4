"""A set under way: hands and feet in any thread, what is due between notes in a thread of its own."""

import gc
import sys
from collections import deque
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from threading import Event, Lock, Thread
from time import perf_counter
from typing import TYPE_CHECKING, Any, Final

from tonegen.errors import BadValue, NoSuchDevice, TonegenError
from tonegen.keys.cable import Cable
from tonegen.keys.evening import KEYBOARD, Evening
from tonegen.keys.live import SECONDS_TO_LEAVE
from tonegen.keys.plan import Plan
from tonegen.keys.receivers import Osc
from tonegen.keys.rotation import is_reset
from tonegen.keys.sets import SetPlan
from tonegen.setlist.presses import PressOutcome
from tonegen.setlist.records import Action
from tonegen.setup.rig import Bare
from tonegen.synthesis.player import SWITCH_SECONDS

if TYPE_CHECKING:
    from tonegen.keys.chords import ChordFollower

_OSC: Final = "osc"


def keep_pauses_short() -> None:
    """No pause of the interpreter between a note's arrival and its way out."""
    gc.collect()
    gc.freeze()
    gc.disable()  # what is made for each note is freed by its count alone
    sys.setswitchinterval(SWITCH_SECONDS)


class PlayedEvening:
    """A set under way at cables that are tuned. Each call may come from any thread.

    told : sentences for the player, in their order, to be taken from the left. moved : set when there is
    something new to tell or to work out. steel : takes where pedals and levers stand, when they have moved;
    unless another is given it brings what follows the steel there. went : told the number of each song that
    the player goes to.
    """

    def __init__(
        self,
        made: SetPlan,
        cables: Mapping[str, Cable],
        place: int = 0,
        mpe_keyboard: bool = False,
        passes: bool = True,
    ) -> None:
        """The song at a place: see `Evening`."""
        self._made = made
        self.told: deque[str] = deque()
        self.moved = Event()
        self.steel: Callable[[Mapping[str, float]], object] = self._bring_to
        self.went: Callable[[int], object] = lambda number: None
        self._lock = Lock()
        self._evening = Evening(made, cables, place, mpe_keyboard, passes)
        self._between = Between(self._lock, self._evening.send_due)
        self._cautioned: set[str] = set()
        self._glides = False

    # -- hands and feet --------------------------------------------------------------------------------

    def receive(self, message: bytes, port: str = KEYBOARD) -> None:
        """One whole message of a port, in whichever thread it came."""
        outcome, why = None, ""
        with self._lock:
            try:
                outcome = self._evening.receive(message, perf_counter(), port)
            except BadValue as error:
                why = f"{error}."
        if outcome is not None or why or is_reset(message):
            self._came_of(outcome or PressOutcome(why=why))
        elif self._glides:
            self._between.wake()

    def _came_of(self, outcome: PressOutcome) -> None:
        if outcome.goes_to is not None:
            self.went(self._made.evening.songs[outcome.goes_to].number)
            self.told.append(self.now_and_next())
        if outcome.why:
            self.told.append(outcome.why)
        self._between.wake()
        self.moved.set()

    def port_came(self, port: str) -> None:
        """A port was opened, or is back: see `Presses`."""
        with self._lock:
            self._evening.presses.port_came(port, perf_counter())

    def pass_notes(self, passes: bool) -> None:
        """Have the player's notes pass through from now on, or come by another way."""
        with self._lock:
            self._evening.pass_notes(passes, perf_counter())
        self._between.wake()

    def now_and_next(self) -> str:
        """The song and the next one, in words."""
        state = self.state()
        key = f" in {state['key']}" if state["key"] else ""
        bar = f", fret {state['fret']:g}" if self._made.evening.instrument else ""
        after = f"next {state['next_number']} {state['next']}" if state["next"] else "the last"
        line = f" {state['line']}." if state["line"] else ""
        return f"{state['number']} {state['song']}{key}{bar}; {after}.{line}"

    # -- what OSC does ---------------------------------------------------------------------------------

    def next(self) -> None:
        """Go on to the next song."""
        self._press(Action.NEXT)

    def previous(self) -> None:
        """Go back to the one before."""
        self._press(Action.PREVIOUS)

    def number(self, number: int) -> None:
        """Go to the song of that number."""
        self._press(Action.NUMBER, number)

    def hold(self) -> None:
        """Let nothing go on, or let it again."""
        self._press(Action.HOLD)

    def load(self, number: int) -> None:
        """Have `next` lead to the song of that number."""
        with self._lock:
            outcome = self._evening.presses.load(number, perf_counter())
        self._came_of(outcome)

    def engage(self, change: str, travel: float) -> None:
        """Engage a pedal or lever of the steel by a travel from 0 (at rest) to 1."""
        if isinstance(self._made.rig, Bare):
            raise BadValue("this set has no steel; give it an instrument")
        self._made.rig.instrument.change(change)
        if not 0 <= travel <= 1:
            raise BadValue(f"a travel goes from 0, at rest, to 1, all the way; {travel:g} does not exist")
        self.move({change: travel})

    def move(self, travels: Mapping[str, float]) -> None:
        """Pedals and levers of the steel stand elsewhere."""
        with self._lock:
            self._evening.move(travels)
        self.moved.set()

    def moved_by_feet(self) -> dict[str, float]:
        """Pedals and levers that controls have moved since this was asked last, with their travels."""
        with self._lock:
            return self._evening.moved_by_feet()

    def _press(self, action: Action, number: int | None = None) -> None:
        with self._lock:
            outcome = self._evening.press((_OSC, action), action, perf_counter(), number)
        self._came_of(outcome)
        if outcome.why and outcome.goes_to is None and action is not Action.HOLD:
            raise BadValue(outcome.why)

    def panic(self) -> None:
        """End everything that sounds."""
        with self._lock:
            self._evening.panic(perf_counter())

    def send_again(self) -> None:
        """Send the tuning once more to what takes OSC, to a synthesizer that has just started."""
        by_osc = [name for name, one in self._made.receivers.items() if isinstance(one, Osc)]
        if not by_osc:
            raise BadValue("only a receiver that is sent OSC can ask for its tuning again")
        self.are_back(by_osc)

    def state(self) -> Mapping[str, Any]:
        """What is now and next, and how each receiver stands."""
        with self._lock:
            return self._evening.state()

    # -- tunings within a song -------------------------------------------------------------------------

    def retune(self, plans: Mapping[str, Plan]) -> None:
        """Bring receivers to other plans; sounding notes keep theirs."""
        with self._lock:
            self._evening.retune(plans)
        self._between.wake()

    def follow(self, name: str, follower: "ChordFollower | None") -> None:
        """Have the notes of a receiver follow the chord, or none: see `Evening.follow`."""
        with self._lock:
            self._evening.follow(name, follower)
        self._glides |= follower is not None and follower.following.glide_cents_per_second > 0

    def chord(self, name: str) -> tuple[tuple[int, float], ...]:
        """Key and offset of each note that sounds at a receiver whose notes follow the chord."""
        with self._lock:
            return self._evening.goings[name].chord

    def led_by(self, name: str, tones: Sequence[tuple[int, float]]) -> None:
        """Key and offset of what others sound, for a receiver's notes that follow the chord."""
        with self._lock:
            self._evening.led_by(name, tones)
        if self._glides:
            self._between.wake()

    def follow_steel(self) -> None:
        """Have worked out what follows the steel, where its pedals or the song have moved."""
        with self._lock:
            if not self._evening.pedals_moved:
                return
            travels = self._evening.travels()
        try:
            self.steel(travels)
        except TonegenError as error:
            self.told.append(f"{error}.")

    def _bring_to(self, travels: Mapping[str, float]) -> None:
        place = self._evening.presses.place
        plans, strings = self._made.moved(place, travels), self._made.strings(place, travels)
        with self._lock:
            if place == self._evening.presses.place:  # else the song that has come has its own to work out
                self._evening.retune(plans)
                self._evening.strings_stand(strings)
        self._between.wake()

    # -- receivers that go and come, the end -----------------------------------------------------------

    def are_gone(self, names: Sequence[str]) -> None:
        """Receivers vanished: they are passed over."""
        with self._lock:
            for name in names:
                self._evening.gone(name)

    def are_back(self, names: Sequence[str]) -> None:
        """They are back, from nothing: they are brought to the song of this moment."""
        with self._lock:
            for name in names:
                self._evening.back(name, perf_counter())
        self._between.wake()

    def tell_what_fell_short(self) -> None:
        """Tell what has been waited for for long, and once each what did not come out as it was played."""
        with self._lock:
            long = self._evening.waited_long(perf_counter())
            cautions = [
                f"{name}: {words}" for name, going in self._evening.goings.items() for words in going.cautions
            ]
        if long:
            self.told.append(f"{long}.")
        for words in cautions:
            if words not in self._cautioned:
                self._cautioned.add(words)
                self.told.append(words)

    def finish(self) -> None:
        """End every note that is still held."""
        with self._lock:
            self._evening.finish(perf_counter())

    def close(self) -> None:
        """End every note, and send nothing more."""
        self.finish()
        self._between.close()


class Between:
    """A thread that sends what is due between notes, so that no note waits for it."""

    def __init__(self, lock: Lock, send_due: Callable[[float], float | None]) -> None:
        """Take who says what is due, to be asked under the lock of the notes. It begins with the first."""
        self._lock = lock
        self._send_due = send_due
        self._due = Event()
        self._ended = False
        self._thread: Thread | None = None

    def wake(self) -> None:
        """Something has come that waits to be sent."""
        if self._thread is None:
            self._thread = Thread(target=self._stay, name="between", daemon=True)
            self._thread.start()
        self._due.set()

    def close(self) -> None:
        """Send nothing more."""
        self._ended = True
        self._due.set()
        if self._thread is not None:
            self._thread.join()

    def _stay(self) -> None:
        while not self._ended:
            again_at: float | None = perf_counter() + SECONDS_TO_LEAVE
            with self._lock, suppress(NoSuchDevice):  # it has gone, and is tuned whole when it is back
                again_at = self._send_due(perf_counter())
            self._due.wait(None if again_at is None else max(0.0, again_at - perf_counter()))
            self._due.clear()
