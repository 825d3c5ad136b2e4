"""How a receiver goes from song to song while it is played: nothing that sounds is moved, and no note waits.

Where each note has a tune of its own the new tuning holds from the next note on. Single notes are tuned at
once where their keys are silent, the others when they end. What is tuned by pitch class, or as a whole, waits
until the receiver is silent: keys and pedals up, rings over. Nothing is ever forced.

What a song sends besides (programs, bytes) waits until no key and no pedal holds a note that it would reach.
Whatever goes out between notes goes one message at a time, when the one before has arrived: a note waits
behind one short message at most. Long ones wait for a pause in the playing.

Times are seconds of any steady clock, given by whoever calls.
"""

from collections import deque
from collections.abc import Iterable, Sequence
from enum import StrEnum
from typing import TYPE_CHECKING, Final

from tonegen.keys import midi
from tonegen.keys.cable import Cable
from tonegen.keys.osc_notes import OscNotes
from tonegen.keys.plan import Plan
from tonegen.keys.receivers import (
    BendPerClass,
    BendPerNote,
    KeyTuning,
    Osc,
    Receiver,
    TuningPerClass,
)
from tonegen.keys.rotation import Rotation
from tonegen.keys.tables import LOOK_SECONDS, PAUSE_SECONDS, Tables

if TYPE_CHECKING:
    from tonegen.keys.chords import ChordFollower

# A single note change of six keys has 32 bytes, 10 ms on a cable; an octave message has one more.
SHORT_BYTES: Final = 33


class Waits(StrEnum):
    """What a change of tuning waits for at a receiver."""

    NOTHING = "nothing"  # each note brings its own, or nothing is to be sent
    NOTES = "held notes"  # what sounds keeps its tune; silent keys go at once, the others when they end
    SILENCE = "silence"  # no key or pedal down, and nothing rings


def waits_of(receiver: Receiver) -> Waits:
    """What every change of a receiver's tuning waits for."""
    if isinstance(receiver, KeyTuning) and receiver.message == "single note":
        return Waits.NOTES
    # Each note on a channel of its pitch class could bring its own: but a chord half in the old song is worse
    # than one in the new song a little later.
    if receiver.moves_what_sounds or isinstance(receiver, BendPerClass | TuningPerClass):
        return Waits.SILENCE
    return Waits.NOTHING


class NoNotes:
    """Stands where notes would pass, at a receiver that gets none from here: we take it to be silent."""

    held_keys: frozenset[int] = frozenset()
    rings_until = float("-inf")

    def retune(self, made: Plan) -> None:
        """Nothing has to be told."""

    def receive(self, message: bytes, now: float) -> None:
        """Not for this receiver."""

    def follow(self, follower: "ChordFollower | None") -> None:
        """It has no notes to give offsets to."""

    def led_by(self, tones: Sequence[tuple[int, float]]) -> None:
        """Nor anybody to lead."""

    def start_over(self) -> None:
        """Nothing sounded."""

    def finish(self, now: float) -> None:
        """Nothing sounds."""


class Going:
    """One receiver: takes the notes that are for it, and goes on to other tunings between them.

    The plan that it begins with has been sent. `send_due` is to be called when it says.
    mpe_keyboard : as for `Rotation`. passes : whether the player's notes pass through.
    """

    def __init__(self, made: Plan, cable: Cable, mpe_keyboard: bool = False, passes: bool = True) -> None:
        """Nothing sounds; it is ready."""
        self.plan = made
        self._cable = cable
        self._now = float("-inf")
        self.waits_for: Final = waits_of(made.receiver)
        self.rotation: Rotation | None = None
        self.tables: Tables | None = None
        # Notes on these pass untouched: nobody but us knows what sounds there.
        self._untouched: frozenset[int] = frozenset()
        self._mpe_keyboard: Final = mpe_keyboard
        self.notes = self._notes(made, passes)
        self._armed: Plan | None = None
        self._changes: deque[bytes] = deque()  # of the tuning, where no note brings it
        self._sends: deque[bytes] = deque()
        self._dumps: deque[bytes] = deque()  # tunings that it is to keep beside each other
        self._selects: deque[bytes] = deque()  # of one of them: nothing sounds on their channels
        self._not_before = float("-inf")
        self._gone = False
        self._played_untouched: set[int] = set()
        self._follower: ChordFollower | None = None

    def _notes(self, made: Plan, passes: bool) -> Rotation | Tables | OscNotes | NoNotes:
        if isinstance(made.receiver, BendPerClass | BendPerNote | TuningPerClass):
            self.rotation = None
            if not passes:
                return NoNotes()
            self._untouched = frozenset(channel - 1 for channel in made.receiver.untouched)
            self.rotation = Rotation(made, self._carry, mpe_keyboard=self._mpe_keyboard)
            return self.rotation
        if isinstance(made.receiver, Osc):
            return OscNotes(made, self._carry)
        self.tables = Tables(made, self._cable)
        return self.tables

    def follow(self, follower: "ChordFollower | None") -> None:
        """Have each new note follow the chord, or none; `leads.check_follows` says where it can."""
        self._follower = follower
        self.notes.follow(follower)

    def led_by(self, tones: Sequence[tuple[int, float]]) -> None:
        """Key and offset of what others sound, for notes that follow the chord."""
        self.notes.led_by(tones)

    @property
    def chord(self) -> tuple[tuple[int, float], ...]:
        """Key and offset of each note that sounds, where they follow the chord."""
        return self._follower.sounding if self._follower is not None else ()

    def pass_notes(self, passes: bool, now: float) -> None:
        """Have the player's notes pass through from now on, or come by another way."""
        self.finish(now)
        if isinstance(self.notes, Tables | OscNotes) or passes is (self.rotation is not None):
            return
        left_elsewhere = bool(self._changes) or not passes  # channels stand where the last notes wanted them
        self.notes = self._notes(self.plan, passes)
        if self._follower is not None:
            self._follower.forget()
            self.notes.follow(self._follower)
        if left_elsewhere:
            self.start_over(now, tuple(self._sends), tuple(self._dumps))

    def _carry(self, message: bytes) -> None:
        self._cable.carry(message, self._now)

    # -- songs and pedals --------------------------------------------------------------------------------

    def go(self, made: Plan, sends: Iterable[bytes], now: float) -> None:
        """Go on to a song: its plan, and what it sends besides, in place of what has not gone out yet."""
        self._sends = deque(() if self._gone else sends)
        self._armed = None
        if self._gone or self.waits_for is not Waits.SILENCE:
            self._take(made)
        elif made is not self.plan:
            self._armed = made
        self.send_due(now)

    def retune(self, made: Plan) -> None:
        """Go on in another temperament within the song, as a pedal has it; what sounds keeps its own."""
        if self._armed is not None:
            self._armed = made
        else:
            self._take(made)

    def _take(self, made: Plan) -> None:
        before, self.plan = self.plan, made
        self.notes.retune(made)
        if not self._changes:
            self._changes.extend(() if self._notes_bring_it else made.changes_from(before))
        elif isinstance(made.receiver, Osc):  # what has not gone out is replaced
            pairs, unsent = zip(made.tuning, before.tuning, strict=True), set(self._changes)
            self._changes = deque(now for now, then in pairs if now != then or then in unsent)
        else:
            self._changes = deque(made.tuning)

    @property
    def _notes_bring_it(self) -> bool:
        """Whether whoever takes the notes sends what changes."""
        return isinstance(self.notes, Rotation | Tables)

    def _arrive(self) -> None:
        """Nothing sounds: what was armed is taken."""
        made, self._armed = self._armed, None
        assert made is not None
        if self.tables is not None and made.receiver != self.plan.receiver:  # it keeps this tuning already
            self.plan = made
            self.tables.take_over(made)
            self._selects = deque(made.set_up)
        else:
            self._take(made)

    def waiting(self) -> tuple[int, ...] | None:
        """Keys that are held and that it waits for, none where it waits for a ring or the cable.

        None when it is ready.
        """
        held = self.notes.held_keys
        if self._armed is not None or self._dumps or self._changes or self._sends or self._selects:
            return tuple(sorted(held))
        if self.tables is not None and self.tables.waits:
            return tuple(sorted(key for key in held if self.tables.is_to_be_tuned(key)))
        return None

    @property
    def cautions(self) -> tuple[str, ...]:
        """What did not come out as it was played, in sentences."""
        if self.rotation is not None:
            return self.rotation.cautions
        return self._follower.cautions if self._follower is not None else ()

    @property
    def has_sends(self) -> bool:
        """Whether something that a song sends has not gone out yet."""
        return bool(self._sends)

    # -- notes -------------------------------------------------------------------------------------------

    def receive(self, message: bytes, now: float) -> None:
        """One whole message of the player."""
        self._now = now
        if message[0] & midi.KIND_BITS == midi.NOTE_ON and message[2]:
            number = message[0] & midi.CHANNEL_BITS
            if self._armed is not None or self._sends or self._selects:
                self._before_a_note(number, now)
            if self.tables is not None and self.waits_for is Waits.SILENCE and self.tables.waits:
                self._end_of_silence(now)
            if number in self._untouched:
                self._played_untouched.add(number)
        self.notes.receive(message, now)

    def _end_of_silence(self, now: float) -> None:
        """A song that came in silence is there before the note that ends it, not while it sounds."""
        assert self.tables is not None
        if self._is_silent(now):
            self.tables.bring(now)

    def _before_a_note(self, number: int, now: float) -> None:
        """What is due for a note that begins goes out right before it."""
        if self._armed is not None and self._is_silent(now):
            self._arrive()
        for message in [one for one in self._selects if one[0] & midi.CHANNEL_BITS == number]:
            self._selects.remove(message)
            self._carry(message)
        room = SHORT_BYTES
        for message in tuple(self._sends):
            if message[0] >= midi.SYSTEM or len(message) > room or not self._may_send(message, now):
                break
            if self.tables is None or message[0] & midi.CHANNEL_BITS == number:
                room -= len(message)
                self._sends.remove(message)
                self._carry(message)

    # -- between notes -----------------------------------------------------------------------------------

    def send_due(self, now: float) -> float | None:
        """Send what may go out now. Gives the time at which to ask again; None when all has been sent."""
        self._now = now
        if self._gone:
            return None
        again = []
        if self._armed is not None:
            if self._is_silent(now):
                self._arrive()
            else:
                held = self.notes.held_keys
                again.append(now + LOOK_SECONDS if held else max(self._silent_at, now + 1e-4))
        due = self._send_next(now)
        if due is None and self.tables is not None:
            due = self.tables.send_due(now)
        glides_at = self.rotation.glide(now) if self.rotation is not None else None
        again += [at for at in (due, glides_at) if at is not None]
        return min(again, default=None)

    def _send_next(self, now: float) -> float | None:
        """Send one message after the other, each when the one before has arrived."""
        while self._dumps or self._changes or self._sends or self._selects:
            due = max(self._cable.free_at, self._not_before)
            if due > now:
                return due
            ready = [some for some in (self._dumps, self._sends) if some and self._may_send(some[0], now)]
            if not (self._selects or self._changes or ready):
                return now + LOOK_SECONDS
            message = (self._selects or self._changes or ready[0]).popleft()
            self._carry(message)
            if message[0] == midi.SYSEX:
                self._not_before = self._cable.free_at + self.plan.receiver.sysex_seconds
        return None

    @property
    def _silent_at(self) -> float:
        """When the receiver is silent if nothing else is played: rings over, and for a dump a pause."""
        dump = isinstance(self.plan.receiver, KeyTuning) and self._armed is not None and (
            self._armed.receiver == self.plan.receiver
        )  # fmt: skip
        return self.notes.rings_until + (PAUSE_SECONDS if dump else 0.0)

    def _is_silent(self, now: float) -> bool:
        return not self.notes.held_keys and self._silent_at <= now

    def _may_send(self, message: bytes, now: float) -> bool:
        """Whether no note would be cut, changed or held up."""
        if self.tables is not None and message[0] < midi.SYSTEM:
            return not self.tables.held_on(message[0] & midi.CHANNEL_BITS)
        # By the standard a new program leaves notes alone, yet many receivers cut what sounds.
        if self.notes.held_keys:
            return False
        return len(message) <= SHORT_BYTES or self.notes.rings_until + PAUSE_SECONDS <= now

    # -- gone and back, the end ----------------------------------------------------------------------------

    def be_gone(self) -> None:
        """The receiver vanished: it is passed over until it is back."""
        self._gone = True
        if self._armed is not None:
            made, self._armed = self._armed, None
            self._take(made)
        for waiting in (self._dumps, self._changes, self._sends, self._selects):
            waiting.clear()

    def start_over(self, now: float, sends: Iterable[bytes] = (), dumps: Iterable[bytes] = ()) -> None:
        """The receiver came back from nothing: it is set up and tuned, and sent what stands in its song.

        dumps : of all tunings that it keeps beside each other, where it does.
        """
        self._now, self._gone = now, False
        self._sends, self._dumps = deque(sends), deque(dumps)
        self._changes = deque(() if self._notes_bring_it else self.plan.messages)
        if isinstance(self.notes, Tables):
            self.notes.start_over(now)
            if self._dumps:
                self.notes.take_over(self.plan)
        else:
            self.notes.start_over()
        self.send_due(now)

    def pass_on(self, messages: Iterable[bytes], now: float) -> None:
        """Send messages as they are."""
        for message in messages:
            self._cable.carry(message, now)

    def finish(self, now: float) -> None:
        """End every note that is still held."""
        self._now = now
        self.notes.finish(now)
        for message in midi.notes_off(sorted(number + 1 for number in self._played_untouched)):
            self._carry(message)
        self._played_untouched.clear()
