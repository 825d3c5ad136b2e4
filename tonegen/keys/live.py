"""The ways to the receivers of a rig: opened under a guard, tuned, looked at, and put back at the end."""

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from enum import Enum
from itertools import takewhile
from threading import Event, Thread
from time import sleep
from typing import Final

from tonegen.errors import NoSuchDevice
from tonegen.keys.guard import Guard, only_by_the_guard, send_all
from tonegen.keys.plan import Door

# A MIDI system may lose what is still on its way when the program opens a port more.
SECONDS_TO_LEAVE: Final = 0.1


class Presence(Enum):
    """What a look at a port showed."""

    THERE = "there"
    GONE = "gone"
    BACK = "back"


class ReceiverDoor:
    """The way to a receiver under a guard, which puts back what hangs on it."""

    def __init__(self, where: str, guard: Guard, undo: Sequence[bytes], sysex_seconds: float) -> None:
        """Let the guard hold the undo, then open the door. Raises NoSuchDevice when its port is missing.

        where : see `guard.open_door`.
        """
        self.where = where
        self._guard = guard
        self.held = guard.door(where)
        self.held.hold(undo, sysex_seconds)
        # a virtual port must outlive this process, so that it can be put back: it is the guard's
        self.door: Door = self.held if only_by_the_guard(where) else self.held.open_beside()
        self._was_there = True

    def look(self) -> Presence:
        """See whether the receiver is there; one that came back is opened again, and must be tuned again.

        A guard that was killed is replaced; with it a virtual port of its own comes back.
        """
        with suppress(NoSuchDevice):  # gone as well: tried again with the next look
            self._guard.stand_again()
        if self.held.stood_again() and self.door is self.held:
            return Presence.BACK
        if self.door.is_there() and self._was_there:
            return Presence.THERE
        self.held.was_gone()
        self._was_there = self.door.reconnect()
        return Presence.BACK if self._was_there else Presence.GONE

    def close(self) -> None:
        """Let go of it; the guard still has its own way there."""
        self.door.close()


class TunedRig:
    """The places of a rig, all under one guard that puts them back.

    doors : the way to each place, as `guard.open_door` names it.
    """

    def __init__(self) -> None:
        """Post the guard. Nothing is opened."""
        self.guard = Guard()
        self.doors: dict[str, ReceiverDoor] = {}

    def hold(self, where: str, undo: Sequence[bytes], sysex_seconds: float) -> None:
        """Open a place, once the guard holds its undo. Raises NoSuchDevice when its port is missing."""
        self.doors[where] = ReceiverDoor(where, self.guard, undo, sysex_seconds)

    def tune(self, tunings: Mapping[str, Iterable[tuple[Iterable[bytes], float]]]) -> None:
        """Send each place its messages with the pauses that they need; places side by side.

        Whoever is told to end meanwhile sends nothing more: the undo is next, and must be the last.
        """
        over = Event()
        tuning = [Thread(target=self._tune, args=(where, each, over)) for where, each in tunings.items()]
        try:
            for one in tuning:
                one.start()
            for one in tuning:
                one.join()
        finally:
            over.set()
            for one in tuning:
                if one.ident is not None:  # it was started
                    one.join()
        sleep(SECONDS_TO_LEAVE)

    def _tune(self, where: str, tuning: Iterable[tuple[Iterable[bytes], float]], over: Event) -> None:
        for messages, sysex_seconds in tuning:
            with suppress(NoSuchDevice):  # it has gone meanwhile, which the next look finds
                wanted = takewhile(lambda _: not over.is_set(), messages)
                send_all(self.doors[where].door, wanted, sysex_seconds)

    def look(self) -> dict[str, Presence]:
        """See who is there; who came back must be tuned again."""
        return {where: door.look() for where, door in self.doors.items()}

    def keep(self) -> None:
        """Leave all of them tuned at the end."""
        for door in self.doors.values():
            door.held.keep()

    def close(self) -> None:
        """Put all of them back and let go of them."""
        try:
            for door in self.doors.values():
                door.close()
        finally:
            try:
                self.guard.stand_again()
            finally:
                self.guard.close()
