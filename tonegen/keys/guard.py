"""A process of its own that puts the rig back when the program ends, for whatever reason.

The guard holds the undo messages before the first tuning message goes out. Its only link to the program is a
pipe; when the program ends, killed or not, the system closes the pipe, and the guard sends what it holds.
The normal end goes the same way. Where the port is virtual it belongs to the guard, for it would vanish with
the program otherwise; messages then pass through the pipe. So they do where a system gives a port to one
program at a time.

On the pipe: one letter, four bytes of length, and the content. T: where to send, as text. U: the undo.
S: a message to send at once. G: the receiver was gone. R: it is back, reopen the port. K: forget the undo,
leave the rig tuned.

The undo is written down as well, in the journal, before it is held: that is left where program and guard are
killed together.
"""

import json
import os
import sys
import time
from collections.abc import Iterable, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Final

from tonegen.errors import NoSuchDevice, TonegenError
from tonegen.keys import side_process
from tonegen.keys.journal import Entry, KeptUndo
from tonegen.keys.midi import SECONDS_PER_BYTE, SYSEX
from tonegen.keys.plan import Door

_READY: Final = "ready"
_PROGRAM, _TERMINAL = 1, 2  # where the guard's own words go
_SECONDS_TO_START: Final = 20.0
_SECONDS_TO_FINISH: Final = 20.0
# A MIDI system loses messages in the period in which it takes out the program's own connection.
_SECONDS_TO_PART: Final = 0.25


def send_all(door: Door, messages: Iterable[bytes], sysex_seconds: float = 0.0) -> None:
    """Send messages no faster than the door's way carries them, waiting after each system exclusive one."""
    for message in messages:
        door.send(message)
        time.sleep(len(message) * door.seconds_per_byte + (sysex_seconds if message[0] == SYSEX else 0.0))


def open_door(where: str) -> Door:
    """The door that a text names: "midi NAME", "virtual NAME", or "osc HOST:PORT". Raises NoSuchDevice."""
    kind, _, name = where.partition(" ")
    if kind == "osc":
        from tonegen.keys.osc_port import OscOutput

        return OscOutput.to(name)
    from tonegen.keys.ports import MidiOutput

    return MidiOutput(name, virtual=kind == "virtual")


def only_by_the_guard(where: str) -> bool:
    """Whether the program sends through its guard's door, since it can have none of its own beside it."""
    from tonegen.keys.ports import SHARED_PORTS

    return where.startswith("virtual ") or (where.startswith("midi ") and not SHARED_PORTS)


class Guard:
    """The program's end of the pipe. Close it, or die: either way the rig is put back."""

    seconds_per_byte = SECONDS_PER_BYTE  # as a door, it leads to a MIDI port of its own

    def __init__(self, where: str) -> None:
        """Start the guard and let it open its own door to `where`. Raises NoSuchDevice when it cannot."""
        self._where = where
        self._undo: KeptUndo | None = None
        self._entry: Entry | None = None
        self._post()

    def _post(self) -> None:
        self._process = side_process.start(__name__, stand_guard.__name__)
        assert self._process.stdin is not None
        self._pipe = self._process.stdin
        self._write(b"T", self._where.encode())
        answer = side_process.first_line(self._process, _SECONDS_TO_START).decode().strip()
        if answer != _READY:
            self.close()
            raise NoSuchDevice(answer or "the guard that would put the rig back did not start")

    def stand_again(self) -> bool:
        """Start another where this one was killed, with the same undo; whether that was needed.

        Raises NoSuchDevice when its door cannot be opened any more.
        """
        if self._process.poll() is None or self._undo is None:
            return False
        side_process.let_go(self._process, _SECONDS_TO_FINISH)
        self._post()
        self._tell(self._undo)
        return True

    def hold(self, messages: Sequence[bytes], sysex_seconds: float = 0.0) -> None:
        """Have these sent at the end, in place of those held before."""
        undo = KeptUndo(self._where, tuple(messages), sysex_seconds)
        if undo == self._undo:
            return
        before, self._entry = self._entry, Entry.of(undo)
        self._undo = undo
        self._tell(undo)
        if before is not None:
            before.remove()

    def _tell(self, undo: KeptUndo) -> None:
        self._write(b"U", undo.as_json(journal=str(self._entry.path) if self._entry else ""))

    def was_gone(self) -> None:
        """The receiver was away: an open port may lead nowhere, and must be reopened before the end."""
        self._write(b"G", b"")

    def keep(self) -> None:
        """Leave the rig as it is at the end."""
        self._undo = None
        if self._entry is not None:
            self._entry.remove()
        self._write(b"K", b"")

    def send(self, message: bytes) -> None:
        """Send a message through the guard's own door."""
        self._write(b"S", message)

    def is_there(self, thorough: bool = False) -> bool:
        """A virtual port is always there; another is while the system has one that matches."""
        kind, _, asked = self._where.partition(" ")
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
        self._write(b"R", b"")
        return True

    def close(self) -> None:
        """End: the undo is sent before this returns, or goes on without us where a receiver is very slow."""
        side_process.let_go(self._process, _SECONDS_TO_FINISH)
        if self._entry is not None:
            self._entry.let_go()

    def _write(self, letter: bytes, content: bytes) -> None:
        try:
            self._pipe.write(letter + len(content).to_bytes(4, "big") + content)
            self._pipe.flush()
        except OSError:  # Windows has another error than BrokenPipeError for it
            raise NoSuchDevice("the guard that puts the rig back has ended; start again") from None


# -- the guard's own process -----------------------------------------------------------------------------


def stand_guard() -> None:
    """The guard's whole life: hold the undo until the pipe closes, then send it."""
    pipe = sys.stdin.buffer
    side_process.live_by_the_pipe_alone()
    door: Door | None = None
    undo: KeptUndo | None = None
    entry: Entry | None = None
    was_gone = False
    # A frame cut short is the program's end in the middle of a word: what was held before still counts.
    while len(head := pipe.read(5)) == 5:
        length = int.from_bytes(head[1:], "big")
        if len(content := pipe.read(length)) < length:
            break
        letter = head[:1]
        if letter == b"S" and door is not None:
            door.send(content)
        elif letter == b"U":
            held = json.loads(content)
            undo, entry = KeptUndo.of(held), _held(held["journal"])
        elif letter == b"G":
            was_gone = True
        elif letter == b"R" and door is not None:
            door.reconnect()
        elif letter == b"K":
            undo = None
            if entry is not None:
                entry.remove()
        elif letter == b"T":
            try:
                door = open_door(content.decode())
            except TonegenError as error:
                _say(_PROGRAM, str(error))
                return
            _say(_PROGRAM, _READY)
    if door is None:
        return
    try:
        if undo is not None:
            _put_back(door, undo, was_gone)
            if entry is not None:
                entry.remove()
    except TonegenError as error:
        _say(_TERMINAL, f"tonegen: {error}")
    door.close()


def _put_back(door: Door, undo: KeptUndo, was_gone: bool) -> None:
    time.sleep(_SECONDS_TO_PART)
    # A port is reopened only where it must be: doing so costs messages that are under way.
    if (was_gone or not door.is_there(thorough=True)) and not door.reconnect():
        raise NoSuchDevice(
            "the receiver was gone and could not be put back; when it is back: tonegen keys reset"
        )
    send_all(door, undo.messages, undo.sysex_seconds)


def _held(path: str) -> Entry | None:
    with suppress(OSError):  # none could be written, or it is to stay tuned already
        return Entry(Path(path))
    return None


def _say(place: int, line: str) -> None:
    """To the program or to its terminal, of which each may have ended; nothing is kept to be tried again."""
    with suppress(OSError):
        os.write(place, f"{line}\n".encode())
