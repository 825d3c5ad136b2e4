"""A receiver kept in tune while the player plays: the rig under its guard, and notes through it.

The rig sends set-up and tuning, sends them again to a receiver that went away and came back, and is put back
by its guard at the end. `PlayedThrough` takes a player's messages and gives the retuned ones.
"""

import gc
import sys
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from enum import Enum
from threading import Event, Lock, Thread
from time import perf_counter, sleep
from typing import TYPE_CHECKING, Final

from tonegen.errors import BadValue, NoSuchDevice, TonegenError
from tonegen.keys import midi
from tonegen.keys.cable import Cable
from tonegen.keys.going import Going
from tonegen.keys.guard import Guard, only_by_the_guard, open_door, send_all
from tonegen.keys.osc_port import OscOutput
from tonegen.keys.plan import Door, Plan
from tonegen.keys.receivers import BendPerClass, BendPerNote, Osc, Receiver, TuningPerClass
from tonegen.keys.rotation import Rotation, is_reset
from tonegen.synthesis.player import SWITCH_SECONDS

if TYPE_CHECKING:
    from tonegen.keys.chords import ChordFollower, ChordFollowing

# A MIDI system may lose what is still on its way when the program opens a port more.
SECONDS_TO_LEAVE: Final = 0.1


def keep_pauses_short() -> None:
    """No pause of the interpreter between a note's arrival and its way out."""
    gc.collect()
    gc.freeze()
    gc.disable()  # what is made for each note is freed by its count alone
    sys.setswitchinterval(SWITCH_SECONDS)


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
        self.door: Door = self.held if only_by_the_guard(where) else open_door(where)
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


class TunedReceiver:
    """A receiver on its door, with a guard of its own that puts it back."""

    def __init__(self, where: str, made: Plan) -> None:
        """Post the guard, then set the receiver up. Raises NoSuchDevice when its port is missing.

        where : see `guard.open_door`.
        """
        self.plan = made
        self.guard = Guard()
        try:
            self._at = ReceiverDoor(where, self.guard, made.undo, made.receiver.sysex_seconds)
            self.door = self._at.door
            self.tune_again()
            sleep(SECONDS_TO_LEAVE)
        except BaseException:
            self.guard.close()
            raise

    def tune_again(self) -> None:
        """Send everything once more."""
        send_all(self.door, self.plan.messages, self.plan.receiver.sysex_seconds)

    def retune(self, made: Plan, send: bool = True) -> None:
        """Take over another plan for the same receiver, and send what changes.

        send : false where whoever takes the notes sends it (`PlayedThrough`), so that those that sound keep
        their tune.
        """
        before, self.plan = self.plan, made
        self._at.held.hold(made.undo, made.receiver.sysex_seconds)
        if send:
            send_all(self.door, made.changes_from(before), made.receiver.sysex_seconds)

    def panic(self) -> None:
        """End all notes, on all channels of the port; an OSC receiver that is only tuned has none of ours."""
        if not isinstance(self.plan.receiver, Osc):
            send_all(self.door, midi.notes_off(midi.ALL_CHANNELS))

    def look(self) -> Presence:
        """See whether the receiver is there; one that came back must be tuned again."""
        return self._at.look()

    def keep(self) -> None:
        """Leave the receiver tuned at the end."""
        self._at.held.keep()

    def close(self) -> None:
        """Put the receiver back and let go of it."""
        try:
            self._at.close()
        finally:
            try:
                self.guard.stand_again()
            finally:
                self.guard.close()


def cable_to(receiver: Receiver, send: Callable[[bytes], object]) -> Cable:
    """The way to a receiver, as fast as its kind is."""
    by_osc = isinstance(receiver, Osc)
    return Cable(send, OscOutput.seconds_per_byte if by_osc else midi.SECONDS_PER_BYTE)


def check_follows(made: Plan, following: "ChordFollowing") -> None:
    """Raise BadValue for a receiver whose notes cannot follow the chord as they are played."""
    if not isinstance(made.receiver, BendPerClass | BendPerNote | TuningPerClass):
        raise BadValue(
            "this receiver cannot follow the chord as you play; choose one with bends or channel tuning, "
            "such as mpe"
        )
    made.check_reach(following.most_cents)


class PlayedThrough:
    """A player's messages in, retuned ones out. `receive` may be called from the MIDI system's thread.

    pedals : controllers that are pedals and levers of the instrument, by their number; they are not passed
    on. Where each stands is in `travels`, and `moved` is set.
    mpe_keyboard : as for `Rotation`. follower : gives new notes the offsets that suit the chord,
    where `check_follows` allows it.
    """

    def __init__(
        self,
        made: Plan,
        send: Callable[[bytes], object],
        pedals: Mapping[int, str] | None = None,
        mpe_keyboard: bool = False,
        follower: "ChordFollower | None" = None,
    ) -> None:
        """The receiver is set up and tuned by this plan."""
        self._send = send
        self._lock = Lock()
        self._pedals = dict(pedals or {})
        self.travels: dict[str, float] = {}
        self.moved = Event()
        self._going = Going(made, cable_to(made.receiver, send), mpe_keyboard)
        if follower is not None:
            assert self._going.rotation is not None, "see check_follows"
            self._going.rotation.follow(follower)
        self._take = self._going.receive
        self._between = Between(self._lock, self._going.send_due)

    @property
    def rotation(self) -> Rotation | None:
        """What hands notes round channels, where that is what it does."""
        return self._going.rotation

    @property
    def notes_bring_their_tune(self) -> bool:
        """Whether a new plan is sent with the notes alone: then it may be taken over at any time."""
        return self._going.rotation is not None

    @property
    def cautions(self) -> tuple[str, ...]:
        """What did not come out as it was played, in sentences."""
        return self._going.cautions

    def receive(self, message: bytes) -> None:
        """One whole message of the player."""
        if self._pedals and message[0] & midi.KIND_BITS == midi.CONTROL and message[1] in self._pedals:
            self.travels[self._pedals[message[1]]] = message[2] / 127
            self.moved.set()
            return
        with self._lock:
            self._take(message, perf_counter())
        if self._going.tables is not None and is_reset(message):
            self._between.wake()

    def retune(self, made: Plan) -> None:
        """Go on in another temperament; sounding notes keep theirs."""
        with self._lock:
            self._going.retune(made)
        if self._going.rotation is None:
            self._between.wake()

    def led_by(self, tones: Sequence[tuple[int, float]]) -> None:
        """Key and offset of what others sound, for notes that follow the chord."""
        if self._going.rotation is not None:
            self._going.rotation.led_by(tones)

    def start_over(self) -> None:
        """The receiver came back from nothing: it is set up again, and no note sounds in it."""
        with self._lock:
            self._going.start_over(perf_counter())
        self._between.wake()

    def finish(self) -> None:
        """End every note that is still held."""
        with self._lock:
            self._going.finish(perf_counter())

    def panic(self) -> None:
        """End every note, every ring and every pedal, on all channels of the port."""
        self.finish()
        if not isinstance(self._going.plan.receiver, Osc):
            with self._lock:
                for message in midi.notes_off(midi.ALL_CHANNELS):
                    self._send(message)

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


class Pedals:
    """Brings the desk to where pedals and levers stand that come in as controllers.

    What is refused, such as two levers that exclude each other, is told once, and tried again with the next
    move: the one that stays down counts as soon as the other is up.
    """

    def __init__(self, move: Callable[[Mapping[str, float]], object], tell: Callable[[str], object]) -> None:
        """Take what moves the desk, and what tells the player."""
        self._move = move
        self._tell = tell
        self._seen: dict[str, float] = {}
        self._done: dict[str, float] = {}

    def follow(self, travels: Mapping[str, float]) -> None:
        """Move what stands elsewhere than before. `travels` may go on changing."""
        now = dict(travels)
        if now == self._seen:
            return
        self._seen = now
        try:
            self._move({name: travel for name, travel in now.items() if self._done.get(name) != travel})
        except TonegenError as error:
            self._tell(str(error))
        else:
            self._done = now
