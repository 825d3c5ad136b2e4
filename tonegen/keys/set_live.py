"""A set at its ports: all receivers under one guard, notes and presses in, everything put back at the end."""

from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Final

from tonegen.errors import BadValue, MissingDevices, MissingReceivers, NoSuchDevice
from tonegen.keys import midi
from tonegen.keys.cable import Cable
from tonegen.keys.evening import KEYBOARD
from tonegen.keys.live import Presence, TunedRig
from tonegen.keys.plan import Door
from tonegen.keys.playing import PlayedEvening
from tonegen.keys.ports import MidiInput, MidiOutput, choose, inputs
from tonegen.keys.sets import SetPlan
from tonegen.presets.rows import placed
from tonegen.presets.sets import WHERE_KEYS
from tonegen.setlist.records import SetLights, SetList
from tonegen.words import many


def check_inputs(evening: SetList, keyboards: Sequence[str]) -> None:
    """See that the keyboards and the ports of a set's controls are there, before anything is sent.

    Raises NoSuchDevice, and BadValue where a control's port is that of a keyboard.
    """
    boards = _boards(evening)
    there = inputs() if boards or keyboards else ()
    played = {choose(name, there, "input").name for name in keyboards}
    for port in boards:
        if choose(port, there, "input").name in played:
            raise BadValue(f'controls from "{port}" come by the keyboard that you play; leave from out')


def _boards(evening: SetList) -> list[str]:
    """The ports that controls come from, but for that of the keyboard."""
    return sorted({one.from_port for one in evening.controls} - {KEYBOARD})


class PlayedSet:
    """The receivers of a set while it is played.

    playing : what hands and feet do with it. rig : the places of its receivers.
    """

    def __init__(
        self,
        made: SetPlan,
        place: int = 0,
        without: Iterable[str] = (),
        mpe_keyboard: bool = False,
        passes: bool = True,
    ) -> None:
        """Post the guard, then tune all receivers but some for the song at a place, side by side.

        passes : whether a keyboard's notes are to pass through.
        Raises MissingDevices, MissingReceivers where the set is a file, with a line for each receiver that is
        missing; nothing has been sent then.
        """
        self._made = made
        self._names: dict[str, list[str]] = {}  # of each place, the receivers there
        self._gone: set[str] = set()
        self._sources: dict[str, tuple[str, MidiInput]] = {}
        self._silent: set[str] = set()  # inputs that are gone
        self._file = _file_state(made.evening.file)
        self.rig: Final = TunedRig()
        try:
            self._open(frozenset(without))
            self._tune(place)
        except BaseException:
            self.rig.close()
            raise
        cables = {
            where: Cable(_quietly(at.door), at.door.seconds_per_byte) for where, at in self.rig.doors.items()
        }
        by_name = {name: cables[where] for where, names in self._names.items() for name in names}
        self.playing: Final = PlayedEvening(made, by_name, place, mpe_keyboard, passes)
        self._lights = None if made.evening.lights is None else Lights(made.evening.lights)
        if self._lights is not None:
            self.playing.went = self._lights.go

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
                self.rig.hold(where, undo, pause)
            except NoSuchDevice as error:
                missing += [self._missing(name, error) for name in names]
        if missing:
            self.rig.keep()
            raise (MissingReceivers if self._made.evening.file else MissingDevices)(*missing)

    def _missing(self, name: str, error: NoSuchDevice) -> str:
        if not self._made.evening.file:  # it is all that was asked for
            return str(error)
        songs = [
            str(state.song.number)
            for place, state in enumerate(self._made.states)
            if any(self._made.plans[place][name].scale.class_cents) or state.sends.get(name)
        ]
        needed = (
            f"needed in {many(len(songs), 'song')} ({', '.join(songs)})" if songs else "needed in no song"
        )
        why = f"{name} is missing: {error}; {needed}; leave it out to play without it (--without {name})"
        return f"{self._made.evening.file}: {placed(Path(self._made.evening.file), self._row(name))}: {why}"

    def _row(self, name: str) -> str:
        """The field of a set's file that says where a receiver is."""
        receivers = self._made.evening.receivers
        index = next(index for index, one in enumerate(receivers) if one.name == name)
        key = WHERE_KEYS[receivers[index].where.partition(" ")[0]]
        return f"receivers[{index}].{key}"

    def _tune(self, place: int) -> None:
        """Tune all for a song, those at different places side by side."""
        self.rig.tune(
            {
                where: [
                    (self._begin(name, place), self._made.receivers[name].sysex_seconds) for name in names
                ]
                for where, names in self._names.items()
            }
        )

    def _begin(self, name: str, place: int) -> tuple[bytes, ...]:
        return (*self._made.start(name, place), *self._made.sends(name, None, place))

    # -- what comes in ---------------------------------------------------------------------------------

    def listen_to(self, keyboards: Iterable[str], virtual: Iterable[str] = ()) -> None:
        """Open the keyboards, and the set's foot boards: `check_inputs` was asked. Raises NoSuchDevice."""
        for name in keyboards:
            self._listen(name, KEYBOARD)
        for name in virtual:
            self._listen(name, KEYBOARD, virtual=True)
        for port in _boards(self._made.evening):
            self._listen(port, port)

    def _listen(self, asked: str, port: str, virtual: bool = False) -> None:
        def arrived(message: bytes) -> None:
            self.playing.receive(message, port)

        self._sources[asked] = (port, MidiInput(asked, arrived, virtual))
        self.playing.port_came(port)

    def stop_listening(self) -> None:
        """Close all of them, and end what they hold."""
        for _, source in self._sources.values():
            source.close()
        self._sources.clear()
        self._silent.clear()
        self.playing.finish()

    @property
    def may_lose_notes(self) -> bool:
        """Whether the MIDI system may pass over notes on a busy machine."""
        return any(source.may_lose_notes for _, source in self._sources.values())

    # -- from time to time -----------------------------------------------------------------------------

    def look(self) -> frozenset[Presence]:
        """See who is there: receivers, keyboards, foot boards; and whether the file is as it was.

        Gives what became of the receivers.
        """
        seen = self.rig.look()
        for where, presence in seen.items():
            self._look_at(where, presence)
        for asked, (port, source) in self._sources.items():
            self._look_for(asked, port, source)
        if self._file is not None and _file_state(self._made.evening.file) != self._file:
            self._file = None
            self.playing.told.append(
                f"{self._made.evening.file} has changed; it is not read again until you start anew."
            )
        if self._lights is not None and (said := self._lights.look()):
            self.playing.told.append(said)
        self.playing.tell_what_fell_short()
        return frozenset(seen.values())

    def _look_at(self, where: str, presence: Presence) -> None:
        names = self._names[where]
        if presence is Presence.GONE and where not in self._gone:
            self._gone.add(where)
            self.playing.are_gone(names)
            self.playing.told.append(
                f"{' and '.join(names)}: not connected; passed over, and tuned as soon as it is back."
            )
        elif presence is Presence.BACK:
            self._gone.discard(where)
            self.playing.are_back(names)
            self.playing.told.append(f"{' and '.join(names)}: connected, and tuned.")

    def _look_for(self, asked: str, port: str, source: MidiInput) -> None:
        if asked not in self._silent and not source.is_there():
            self._silent.add(asked)
            if port == KEYBOARD:
                self.playing.finish()  # its note-offs will not come any more
            self.playing.told.append(f"{asked} is disconnected; it will be heard again when it is back.")
        elif asked in self._silent and source.reconnect():
            self._silent.discard(asked)
            self.playing.port_came(port)
            self.playing.told.append(f"{asked} is back.")

    def close(self) -> None:
        """End every note, put all receivers back, and let go of the ports."""
        for _, source in self._sources.values():
            source.close()
        self.playing.close()
        if self._lights is not None:
            self._lights.close()
        self.rig.close()


class Lights:
    """The lights of a set at their port. The music goes on without them."""

    def __init__(self, asked: SetLights) -> None:
        """Not looked for yet."""
        self._asked = asked
        self._door: MidiOutput | None = None
        self._there: bool | None = None

    def look(self) -> str:
        """Find them where they are not there; what the player should know, "" for nothing."""
        before, self._there = self._there, self._found()
        if self._there is before:
            return ""
        if not self._there:
            return f"No lights at {self._asked.port}; they go with the songs as soon as they are there."
        # They are told nothing now, nor at the start: no light changes before the player goes to a song.
        return "" if before is None else "The lights are back; they go with the next song."

    def _found(self) -> bool:
        if self._door is not None:
            return self._door.is_there() or self._door.reconnect()
        with suppress(NoSuchDevice):
            self._door = MidiOutput(self._asked.port)
        return self._door is not None

    def go(self, number: int) -> None:
        """Tell them of a song."""
        if self._door is not None:
            self._door.send(midi.show_go(self._asked.device, number))

    def close(self) -> None:
        """Let go of the port. They stay as they are: who sits at the desk looks after them."""
        if self._door is not None:
            self._door.close()


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
