"""A process of its own that puts the rig back when the program ends, for whatever reason.

The guard holds the undo messages before the first tuning message goes out. Its only link to the program is a
pipe; when the program ends, killed or not, the system closes the pipe, and the guard sends what it holds.
The normal end goes the same way. Where the port is virtual it belongs to the guard, for it would vanish with
the program otherwise; messages then pass through the pipe. So they do where a system gives a port to one
program at a time.

One guard holds the undo of all receivers of a rig, by their places, and puts them back side by side.

On the pipe: one letter, one byte for the place, four bytes of length, and the content. T: where to send, as
text, answered with a line. U: the undo. S: a message to send at once. G: the receiver was gone. R: it is
back, reopen the port. K: forget the undo, leave it tuned. E: the program ends in order, its own ports are
closed.

The undo is written down as well, in the journal, before it is held: that is left where program and guard are
killed together.
"""

import json
import os
import sys
import threading
import time
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final

from tonegen.errors import NoSuchDevice, TonegenError
from tonegen.keys import side_process
from tonegen.keys.journal import Entry, KeptUndo
from tonegen.keys.midi import SECONDS_PER_BYTE, SYSEX
from tonegen.keys.plan import Door

if TYPE_CHECKING:
    from tonegen.keys.ports import MidiSources

_READY: Final = "ready"
_PROGRAM, _TERMINAL = 1, 2  # where the guard's own words go
_SECONDS_TO_START: Final = 20.0
_SECONDS_TO_FINISH: Final = 20.0
# JACK takes out the clients of a program that was killed one after the other, each by its own timeout.
_SECONDS_TO_PART: Final = 10.0
_LOOK_SECONDS: Final = 0.002
_GONE: Final = "the receiver was gone and could not be put back; when it is back: tonegen keys reset"


def send_all(door: Door, messages: Iterable[bytes], sysex_seconds: float = 0.0) -> None:
    """Send messages no faster than the door's way carries them, waiting after each system exclusive one."""
    for message in messages:
        door.send(message)
        time.sleep(len(message) * door.seconds_per_byte + (sysex_seconds if message[0] == SYSEX else 0.0))


def open_door(where: str, own_name: str | None = None, at_once: bool = False) -> Door:
    """The door that a text names: "midi NAME", "virtual NAME", or "osc HOST:PORT". Raises NoSuchDevice.

    own_name : what the program's own end of a MIDI connection is called. at_once : nothing is sent yet for a
    quarter of a second, so the connection need not be waited for.
    """
    kind, _, name = where.partition(" ")
    if kind == "osc":
        from tonegen.keys.osc_port import OscOutput

        return OscOutput.to(name)
    from tonegen.keys.ports import MidiOutput

    return MidiOutput(name, kind == "virtual", own_name, at_once)


def _own_name(place: int, process: int) -> str:
    """What a program calls its own end of a connection, so that its guard sees when it is gone."""
    return f"receiver {place + 1} ({process})"


def only_by_the_guard(where: str) -> bool:
    """Whether the program sends through its guard's door, since it can have none of its own beside it."""
    from tonegen.keys.ports import SHARED_PORTS

    return where.startswith("virtual ") or (where.startswith("midi ") and not SHARED_PORTS)


class Guard:
    """The program's end of the pipe. Close it, or die: either way all that it holds is put back."""

    def __init__(self) -> None:
        """Start the guard. Raises NoSuchDevice when it cannot be."""
        self._doors: list[GuardDoor] = []
        self.posted = 0  # how often one was started
        self._post()

    def _post(self) -> None:
        self._process = side_process.start(__name__, stand_guard.__name__)
        assert self._process.stdin is not None
        self._pipe = self._process.stdin
        self.posted += 1

    def door(self, where: str) -> "GuardDoor":
        """Let it open a door of its own. Raises NoSuchDevice when it cannot."""
        door = GuardDoor(self, len(self._doors), where)
        self._open(door)
        self._doors.append(door)
        return door

    def _open(self, door: "GuardDoor") -> None:
        self.tell(b"T", door.place, door.where.encode())
        answer = side_process.first_line(self._process, _SECONDS_TO_START).decode().strip()
        if answer != _READY:
            raise NoSuchDevice(answer or "the guard that would put the rig back did not start")

    def stand_again(self) -> None:
        """Start another where this one was killed, with the same undo.

        Raises NoSuchDevice when a door cannot be opened any more; the others are held all the same.
        """
        if self._process.poll() is None or not any(door.holds for door in self._doors):
            return
        side_process.let_go(self._process, _SECONDS_TO_FINISH)
        self._post()
        gone = None
        for door in self._doors:
            try:
                self._open(door)
            except NoSuchDevice as error:
                gone = error
            door.hold_again()
        if gone is not None:
            raise gone

    def tell(self, letter: bytes, place: int, content: bytes = b"") -> None:
        """Write to the pipe. Raises NoSuchDevice where nobody reads."""
        try:
            self._pipe.write(letter + bytes((place,)) + len(content).to_bytes(4, "big") + content)
            self._pipe.flush()
        except OSError:  # Windows has another error than BrokenPipeError for it
            raise NoSuchDevice("the guard that puts the rig back has ended; start again") from None

    def close(self) -> None:
        """End: the undo is sent before this returns, or goes on without us where a receiver is very slow.

        The program's own doors must be closed before.
        """
        with suppress(NoSuchDevice):  # it was killed, with nothing left to hold
            self.tell(b"E", 0)
        side_process.let_go(self._process, _SECONDS_TO_FINISH)
        for door in self._doors:
            door.let_go()


class GuardDoor:
    """One place of a guard: its undo, and as a door the guard's own way there."""

    seconds_per_byte = SECONDS_PER_BYTE  # as a door, it leads to a MIDI port of its own

    def __init__(self, guard: Guard, place: int, where: str) -> None:
        """Nothing is held yet. See `Guard.door`."""
        self._guard = guard
        self.place = place
        self.where = where
        self._undo: KeptUndo | None = None
        self._entry: Entry | None = None
        self._posted = guard.posted

    @property
    def holds(self) -> bool:
        """Whether there is anything to put back."""
        return self._undo is not None

    def open_beside(self) -> Door:
        """A door of the program's own to the same place. Raises NoSuchDevice."""
        return open_door(self.where, _own_name(self.place, os.getpid()))

    def stood_again(self) -> bool:
        """Whether another guard was started since the last look."""
        before, self._posted = self._posted, self._guard.posted
        return before != self._posted

    def hold(self, messages: Sequence[bytes], sysex_seconds: float = 0.0) -> None:
        """Have these sent at the end, in place of those held before."""
        undo = KeptUndo(self.where, tuple(messages), sysex_seconds)
        if undo == self._undo:
            return
        before, self._entry = self._entry, Entry.of(undo)
        self._undo = undo
        self.hold_again()
        if before is not None:
            before.remove()

    def hold_again(self) -> None:
        """Tell the guard what it holds."""
        if self._undo is not None:
            journal = str(self._entry.path) if self._entry else ""
            self._guard.tell(b"U", self.place, self._undo.as_json(journal=journal))

    def was_gone(self) -> None:
        """The receiver was away: an open port may lead nowhere, and must be reopened before the end."""
        self._guard.tell(b"G", self.place)

    def keep(self) -> None:
        """Leave the receiver as it is at the end."""
        self._undo = None
        if self._entry is not None:
            self._entry.remove()
        self._guard.tell(b"K", self.place)

    def send(self, message: bytes) -> None:
        """Send a message through the guard's own door."""
        self._guard.tell(b"S", self.place, message)

    def is_there(self, thorough: bool = False) -> bool:
        """A virtual port is always there; another is while the system has one that matches."""
        kind, _, asked = self.where.partition(" ")
        if kind == "virtual":
            return True
        from tonegen.keys.ports import choose, outputs

        try:
            choose(asked, outputs(), "output")
        except NoSuchDevice:
            return False
        return True

    def reconnect(self) -> bool:
        """Have the guard reopen its port where it is back; whether it is."""
        if not self.is_there():
            return False
        self._guard.tell(b"R", self.place)
        return True

    def close(self) -> None:
        """It is the guard's to close."""

    def let_go(self) -> None:
        """The guard has ended: what it held is its own to remove."""
        if self._entry is not None:
            self._entry.let_go()


# -- the guard's own process -----------------------------------------------------------------------------


@dataclass(eq=False)
class _HeldDoor:
    """One place, on the guard's side. own_name : of the program's own end of the connection, if any."""

    where: str
    own_name: str
    door: Door | None = None
    undo: KeptUndo | None = None
    entry: Entry | None = None
    there: bool = True  # as far as is known

    def open(self) -> str:
        """Open its door; what to answer."""
        try:
            # The program opens its own beside it before anything goes out, which takes longer.
            self.door = open_door(self.where, at_once=not only_by_the_guard(self.where))
        except TonegenError as error:
            return str(error)
        return _READY

    @property
    def is_shared(self) -> bool:
        """Whether the program may be connected to the same port."""
        return self.door is not None and self.where.startswith("midi ") and not only_by_the_guard(self.where)

    def hold(self, content: bytes) -> None:
        held = json.loads(content)
        self.undo, self.entry = KeptUndo.of(held), _held(held["journal"])

    def forget(self) -> None:
        self.undo = None
        if self.entry is not None:
            self.entry.remove()

    def reopen(self) -> None:
        if self.door is not None:
            self.door.reconnect()
        else:
            self.open()

    def put_back(self) -> None:
        """Send what it holds; whether it could arrive is known by `end`."""
        assert self.undo is not None
        self.there = self.door is not None and (
            (self.there and self.door.is_there())
            # A port is reopened only where it must be: doing so costs messages that are under way.
            or self.door.reconnect()
        )
        if self.door is not None and self.there:
            try:
                send_all(self.door, self.undo.messages, self.undo.sysex_seconds)
            except NoSuchDevice:
                self.there = False

    def look(self, thorough: bool) -> bool:
        """See whether it is still there; whether that says that the MIDI system is."""
        self.there = self.there and self.door is not None and self.door.is_there(thorough)
        return self.there and self.where.startswith("midi ")

    def end(self) -> None:
        """Close, and say where nothing could be put back."""
        if self.undo is not None and not self.there:
            _say(_TERMINAL, f"tonegen: {_GONE}")
        elif self.undo is not None and self.entry is not None:
            self.entry.remove()
        if self.door is not None:
            self.door.close()


def stand_guard() -> None:
    """The guard's whole life: hold the undo of all places until the pipe closes, then send it."""
    pipe = sys.stdin.buffer
    side_process.live_by_the_pipe_alone()
    program = os.getppid()
    posts: dict[int, _HeldDoor] = {}
    sources: MidiSources | None = None
    in_order = False
    # A frame cut short is the program's end in the middle of a word: what was held before still counts.
    while len(head := pipe.read(6)) == 6:
        length = int.from_bytes(head[2:], "big")
        if len(content := pipe.read(length)) < length:
            break
        letter, place = head[:1], head[1]
        if letter == b"T":
            posts[place] = post = _HeldDoor(content.decode(), _own_name(place, program))
            answer = post.open()
            if post.is_shared:
                sources = sources or _midi_sources()
            _say(_PROGRAM, answer)
        elif letter == b"S" and (door := posts[place].door) is not None:
            door.send(content)
        elif letter == b"U":
            posts[place].hold(content)
        elif letter == b"G":
            posts[place].there = False
        elif letter == b"R":
            posts[place].reopen()
        elif letter == b"K":
            posts[place].forget()
        elif letter == b"E":
            in_order = True
    _put_back([post for post in posts.values() if post.undo is not None], None if in_order else sources)
    _join(_side_by_side(post.end for post in posts.values()))


def _put_back(posts: list[_HeldDoor], sources: "MidiSources | None") -> None:
    """Send what all of them hold, side by side, each as soon as its receiver hears again.

    JACK keeps a receiver from hearing while it is connected to a client that was killed. It takes those out
    one after the other, and who opens a client meanwhile, be it to look for ports, makes that slower. A busy
    machine loses some of what passes then all the same: so it goes out once more when all are out.
    """
    until = time.monotonic() + _SECONDS_TO_PART
    waiting, sending, disturbed = posts, [], False
    while waiting:
        connected = () if sources is None or time.monotonic() > until else sources.names()
        free = [post for post in waiting if not any(post.own_name in name for name in connected)]
        sending += _side_by_side(post.put_back for post in free)
        if waiting := [post for post in waiting if post not in free]:
            disturbed = bool(sending)
            time.sleep(_LOOK_SECONDS)
    _join(sending)
    if disturbed:
        _join(_side_by_side(post.put_back for post in posts if post.is_shared))
    seen = False  # one look that takes its time tells of the whole MIDI system
    for post in posts:
        seen = post.look(thorough=not seen) or seen


def _midi_sources() -> "MidiSources":
    from tonegen.keys.ports import MidiSources

    return MidiSources()


def _side_by_side(acts: Iterable[Callable[[], None]]) -> list[threading.Thread]:
    """A receiver that is slow, or gone, holds up no other."""
    threads = [threading.Thread(target=act) for act in acts]
    for one in threads:
        one.start()
    return threads


def _join(threads: Iterable[threading.Thread]) -> None:
    for one in threads:
        one.join()


def _held(path: str) -> Entry | None:
    with suppress(OSError):  # none could be written, or it is to stay tuned already
        return Entry(Path(path))
    return None


def _say(place: int, line: str) -> None:
    """To the program or to its terminal, of which each may have ended; nothing is kept to be tried again."""
    with suppress(OSError):
        os.write(place, f"{line}\n".encode())
