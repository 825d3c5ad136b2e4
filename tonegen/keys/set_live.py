"""A set at its ports: all receivers under one guard, notes and presses in, everything put back at the end."""

from collections import deque
from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from pathlib import Path
from threading import Event, Lock, Thread
from time import perf_counter, sleep
from typing import Any, Final

from tonegen.errors import BadValue, NoSuchDevice, TonegenError
from tonegen.keys.cable import Cable
from tonegen.keys.evening import KEYBOARD, Evening
from tonegen.keys.guard import Guard, send_all
from tonegen.keys.live import SECONDS_TO_LEAVE, Between, Presence, ReceiverDoor
from tonegen.keys.plan import Door
from tonegen.keys.ports import MidiInput, choose, inputs
from tonegen.keys.rotation import is_reset
from tonegen.keys.sets import SetPlan
from tonegen.setlist.presses import PressOutcome
from tonegen.setlist.records import Action
from tonegen.words import many

_OSC: Final = "osc"


class PlayedSet:
    """The receivers of a set while it is played.

    told : sentences for the player, in their order, to be taken from the left. moved : set when there is
    something new to tell or to work out. evening : what is played, under a lock of its own.
    """

    def __init__(
        self, made: SetPlan, place: int = 0, without: Iterable[str] = (), mpe_keyboard: bool = False
    ) -> None:
        """Post the guard, then tune all receivers but some for the song at a place, side by side.

        Raises NoSuchDevice naming the receivers that are missing; nothing has been sent then.
        """
        self._made = made
        self.told: deque[str] = deque()
        self.moved = Event()
        self._lock = Lock()
        self._places: dict[str, ReceiverDoor] = {}
        self._names: dict[str, list[str]] = {}  # of each place, the receivers there
        self._gone: set[str] = set()
        self._sources: dict[str, tuple[str, MidiInput]] = {}
        self._silent: set[str] = set()  # inputs that are gone
        self._file = _file_state(made.evening.file)
        self._guard = Guard()
        try:
            self._open(frozenset(without))
            self._tune(place)
        except BaseException:
            self._guard.close()
            raise
        cables = {
            where: Cable(_quietly(at.door), at.door.seconds_per_byte) for where, at in self._places.items()
        }
        by_name = {name: cables[where] for where, names in self._names.items() for name in names}
        self.evening = Evening(made, by_name, place, mpe_keyboard)
        self._between = Between(self._lock, self.evening.send_due)

    def _open(self, without: frozenset[str]) -> None:
        for name in without:
            self._made.evening.receiver(name)
        missing = []
        for one in self._made.evening.receivers:
            if one.name not in without:
                self._names.setdefault(one.where, []).append(one.name)
        for where, names in self._names.items():
            undo = [message for name in names for message in self._made.undo(name)]
            pause = max(self._made.receivers[name].sysex_seconds for name in names)
            try:
                self._places[where] = ReceiverDoor(where, self._guard, undo, pause)
            except NoSuchDevice as error:
                missing += [f"{name} is missing: {error}; {self._needed(name)}" for name in names]
        if missing:
            for at in self._places.values():
                at.held.keep()
                at.close()
            raise NoSuchDevice("; ".join(missing))

    def _needed(self, name: str) -> str:
        songs = [
            str(state.song.number)
            for place, state in enumerate(self._made.states)
            if any(self._made.plans[place][name].scale.class_cents) or state.sends.get(name)
        ]
        needed = (
            f"needed in {many(len(songs), 'song')} ({', '.join(songs)})" if songs else "needed in no song"
        )
        return f"{needed}; to play without it: --without {name}"

    def _tune(self, place: int) -> None:
        """Tune all, those at different places side by side."""
        tuning = [Thread(target=self._tune_at, args=(where, place)) for where in self._places]
        for one in tuning:
            one.start()
        for one in tuning:
            one.join()
        sleep(SECONDS_TO_LEAVE)

    def _tune_at(self, where: str, place: int) -> None:
        for name in self._names[where]:
            messages = (*self._made.start(name, place), *self._made.sends(name, None, place))
            with suppress(NoSuchDevice):  # it has gone meanwhile, which the next look finds
                send_all(self._places[where].door, messages, self._made.receivers[name].sysex_seconds)

    # -- what comes in ---------------------------------------------------------------------------------

    def listen_to(self, keyboards: Iterable[str], virtual: Iterable[str] = ()) -> None:
        """Open the keyboards, and the ports of the set's controls.

        Raises NoSuchDevice, and BadValue where a control's port is that of a keyboard.
        """
        for name in keyboards:
            self._listen(name, KEYBOARD)
        for name in virtual:
            self._listen(name, KEYBOARD, virtual=True)
        played = {source.name for _, source in self._sources.values()}
        for port in sorted({one.from_port for one in self._made.evening.controls} - {KEYBOARD}):
            if choose(port, inputs(), "input").name in played:
                raise BadValue(f'controls from "{port}" come by the keyboard that you play; leave from out')
            self._listen(port, port)

    def _listen(self, asked: str, port: str, virtual: bool = False) -> None:
        def arrived(message: bytes) -> None:
            self.receive(message, port)

        self._sources[asked] = (port, MidiInput(asked, arrived, virtual))
        self.evening.presses.port_came(port, perf_counter())

    @property
    def may_lose_notes(self) -> bool:
        """Whether the MIDI system may pass over notes on a busy machine."""
        return any(source.may_lose_notes for _, source in self._sources.values())

    def receive(self, message: bytes, port: str = KEYBOARD) -> None:
        """One whole message of a port, in whichever thread it came."""
        outcome, why = None, ""
        with self._lock:
            try:
                outcome = self.evening.receive(message, perf_counter(), port)
            except BadValue as error:
                why = f"{error}."
        if outcome is not None or why or is_reset(message):
            self._came_of(outcome or PressOutcome(why=why))

    def _came_of(self, outcome: PressOutcome) -> None:
        if outcome.goes_to is not None:
            self.told.append(self.now_and_next())
        if outcome.why:
            self.told.append(outcome.why)
        self._between.wake()
        self.moved.set()

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

    def _press(self, action: Action, number: int | None = None) -> None:
        with self._lock:
            outcome = self.evening.press((_OSC, action), action, perf_counter(), number)
        self._came_of(outcome)
        if outcome.why and outcome.goes_to is None and action is not Action.HOLD:
            raise BadValue(outcome.why)

    def panic(self) -> None:
        """End everything that sounds."""
        with self._lock:
            self.evening.panic(perf_counter())

    def state(self) -> Mapping[str, Any]:
        """What is now and next, and how each receiver stands."""
        with self._lock:
            return self.evening.state()

    # -- from time to time -----------------------------------------------------------------------------

    def look(self) -> None:
        """See who is there: receivers, keyboards, foot boards; and whether the file is as it was."""
        for where, at in self._places.items():
            self._look_at(where, at.look())
        for asked, (port, source) in self._sources.items():
            self._look_for(asked, port, source)
        if self._file is not None and _file_state(self._made.evening.file) != self._file:
            self._file = None
            self.told.append(
                f"{self._made.evening.file} has changed; it is not read again until you start anew."
            )
        with self._lock:
            long = self.evening.waited_long(perf_counter())
        if long:
            self.told.append(f"{long}.")

    def _look_at(self, where: str, presence: Presence) -> None:
        names = self._names[where]
        if presence is Presence.GONE and where not in self._gone:
            self._gone.add(where)
            with self._lock:
                for name in names:
                    self.evening.gone(name)
            self.told.append(f"{' and '.join(names)}: not connected; passed over until it is back.")
        elif presence is Presence.BACK:
            self._gone.discard(where)
            with self._lock:
                for name in names:
                    self.evening.back(name, perf_counter())
            self._between.wake()
            self.told.append(f"{' and '.join(names)}: connected, and brought to this song.")

    def _look_for(self, asked: str, port: str, source: MidiInput) -> None:
        if asked not in self._silent and not source.is_there():
            self._silent.add(asked)
            if port == KEYBOARD:
                with self._lock:
                    self.evening.finish(perf_counter())  # its note-offs will not come any more
            self.told.append(f"{asked} is disconnected; it will be heard again when it is back.")
        elif asked in self._silent and source.reconnect():
            self._silent.discard(asked)
            with self._lock:
                self.evening.presses.port_came(port, perf_counter())
            self.told.append(f"{asked} is back.")

    def follow_steel(self) -> None:
        """Work out what follows the steel, where its pedals or the song have moved."""
        with self._lock:
            if not self.evening.pedals_moved:
                return
            travels, place = self.evening.travels(), self.evening.presses.place
        try:
            plans = self._made.moved(place, travels)
        except TonegenError as error:
            self.told.append(f"{error}.")
            return
        with self._lock:
            if place == self.evening.presses.place:
                self.evening.follow_steel(plans)
        self._between.wake()

    def close(self) -> None:
        """End every note, put all receivers back, and let go of the ports."""
        for _, source in self._sources.values():
            source.close()
        with self._lock:
            self.evening.finish(perf_counter())
        self._between.close()
        try:
            for at in self._places.values():
                at.close()
        finally:
            try:
                self._guard.stand_again()
            finally:
                self._guard.close()


def _quietly(door: Door) -> Callable[[bytes], None]:
    """Send to a receiver that may go at any moment: what is lost on the way is sent again when it is back."""

    def send(message: bytes) -> None:
        with suppress(NoSuchDevice):
            door.send(message)

    return send


def _file_state(file: str) -> tuple[int, int] | None:
    try:
        state = Path(file).stat()
    except OSError:
        return None
    return state.st_mtime_ns, state.st_size
