"""Notes to a receiver that is tuned by tables of the MIDI Tuning Standard: what sounds is not moved.

A change of a table reaches the notes that sound. So a key, or a pitch class where the receiver has only
those, keeps its tune while a note of it is held, by key or by pedal, and while one rings out. Only what
differs is sent, a few keys at a time and no faster than a cable carries it, so that a note waits behind one
short message at most. A note whose own change has not gone out yet brings it along, right before it.

A bulk dump is too long for that: it waits for a pause in the playing.

Where the keys follow the chord each note brings its own change, if it differs. A key or a pitch class that
sounds or rings stays, and so does the new note on it. Single notes move no other key; an octave message has
all of them, so that notes that have just begun come along.

Times are seconds of any steady clock, given by whoever calls.
"""

from collections.abc import Collection, Hashable, Sequence
from typing import TYPE_CHECKING, Final

from tonegen.keys import midi
from tonegen.keys.cable import Cable
from tonegen.keys.held import HeldKeys
from tonegen.keys.plan import Plan
from tonegen.keys.receivers import KeyTuning, OctaveTuning
from tonegen.keys.rotation import is_reset
from tonegen.keys.scale import KEYS

if TYPE_CHECKING:
    from tonegen.keys.chords import ChordFollower

# A single note change of six keys has 32 bytes: 10 milliseconds on a cable.
_KEYS_AT_ONCE: Final = 6
# So long nothing sounds before a dump goes out: by then the player is not about to strike.
PAUSE_SECONDS: Final = 1.0
LOOK_SECONDS: Final = 0.1  # while something waits for notes to end


class _KeptTable:
    """How one means is sent, by units that are tuned as one: keys, pitch classes, or all keys together."""

    unit_of_key: tuple[int, ...]
    at_once: int  # units in one message
    with_a_note: bool  # whether it is short enough to go right before a note
    pause_seconds: float = 0.0  # of silence before it may go out

    def words(self, made: Plan) -> tuple[Hashable, ...]:
        """What each unit is sent in this plan, equal where it is tuned alike; what `message` then sends."""
        raise NotImplementedError

    def message(self, made: Plan, units: Sequence[int], sent: Sequence[Hashable]) -> bytes:
        """What brings these units to the plan, and leaves the others at what they were sent."""
        raise NotImplementedError

    def words_at(self, aim_cents: Sequence[float], units: Collection[int]) -> dict[int, Hashable]:
        """What units are sent that stand elsewhere than in the plan, given where all of them do."""
        raise NotImplementedError

    def change(self, units: Sequence[int], sent: Sequence[Hashable]) -> bytes:
        """What brings these units to what is now to be sent of each."""
        raise NotImplementedError


class _Keys(_KeptTable):
    """Single note changes."""

    unit_of_key = tuple(range(KEYS))
    at_once = _KEYS_AT_ONCE
    with_a_note = True

    def __init__(self, receiver: KeyTuning) -> None:
        self._receiver = receiver

    def words(self, made: Plan) -> tuple[Hashable, ...]:
        self._words = midi.key_words(made.aim_cents)
        return self._words

    def message(self, made: Plan, units: Sequence[int], sent: Sequence[Hashable]) -> bytes:
        return self.change(units, self._words)

    def words_at(self, aim_cents: Sequence[float], units: Collection[int]) -> dict[int, Hashable]:
        return {key: midi.key_word(key, aim_cents[key]) for key in units}

    def change(self, units: Sequence[int], sent: Sequence[Hashable]) -> bytes:
        words = [word for key in units if isinstance(word := sent[key], int)]
        return midi.note_change(units, words, self._receiver.program, self._receiver.bank)


class _Classes(_KeptTable):
    """Scale/octave tuning: each message holds all twelve, so those that must stay are sent as they are."""

    unit_of_key = tuple(key % 12 for key in range(KEYS))
    at_once = 12
    with_a_note = True

    def __init__(self, receiver: OctaveTuning) -> None:
        self._receiver = receiver

    def words(self, made: Plan) -> tuple[Hashable, ...]:
        self._words = midi.octave_words(made.aim_cents[:12], self._receiver.bytes == 2)
        return self._words

    def message(self, made: Plan, units: Sequence[int], sent: Sequence[Hashable]) -> bytes:
        wanted = set(units)
        return self.change(units, [word if at in wanted else sent[at] for at, word in enumerate(self._words)])

    def words_at(self, aim_cents: Sequence[float], units: Collection[int]) -> dict[int, Hashable]:
        words = midi.octave_words(aim_cents, self._receiver.bytes == 2)
        return {pitch_class: words[pitch_class] for pitch_class in units}

    def change(self, units: Sequence[int], sent: Sequence[Hashable]) -> bytes:
        words = [
            word if isinstance(word, int) else self._words[pitch_class]
            for pitch_class, word in enumerate(sent)
        ]
        one = self._receiver
        return midi.octave_change(words, one.channels, one.bytes == 2, one.real_time)


class _Dump(_KeptTable):
    """A bulk dump of all keys."""

    unit_of_key = (0,) * KEYS
    at_once = 1
    with_a_note = False
    pause_seconds = PAUSE_SECONDS

    def words(self, made: Plan) -> tuple[Hashable, ...]:
        return (midi.key_words(made.aim_cents),)

    def message(self, made: Plan, units: Sequence[int], sent: Sequence[Hashable]) -> bytes:
        (dump,) = made.tuning
        return dump


def units_of_keys(receiver: KeyTuning | OctaveTuning) -> tuple[int, ...]:
    """Of each key what it is tuned with, as one: itself, its pitch class, or all keys together."""
    return _table(receiver).unit_of_key


def _table(receiver: KeyTuning | OctaveTuning) -> _KeptTable:
    if isinstance(receiver, OctaveTuning):
        return _Classes(receiver)
    return _Dump() if receiver.message == "dump" else _Keys(receiver)


def changes_in_pieces(before: Plan, made: Plan) -> tuple[bytes, ...]:
    """What brings a receiver from one plan to another while nothing sounds, in the messages of `Tables`."""
    receiver = made.receiver
    assert isinstance(receiver, KeyTuning | OctaveTuning)
    table = _table(receiver)
    sent, wanted = table.words(before), table.words(made)
    differ = [unit for unit, word in enumerate(wanted) if word != sent[unit]]
    return tuple(
        table.message(made, differ[start : start + table.at_once], sent)
        for start in range(0, len(differ), table.at_once)
    )


class TableChanges:
    """In a file, what each note that follows the chord brings along: its change, if it differs."""

    def __init__(self, made: Plan) -> None:
        """The receiver was sent the plan's messages."""
        receiver = made.receiver
        assert isinstance(receiver, KeyTuning | OctaveTuning)
        self._plan = made
        self._table = _table(receiver)
        self.start_over()

    def start_over(self) -> None:
        """It is sent them again."""
        self._sent: list[Hashable] = list(self._table.words(self._plan))
        self._aims: list[float] = self._plan.aim_cents[: len(self._sent)].tolist()

    def before(self, key: int, cents: float) -> tuple[bytes, ...]:
        """What goes right before a note of this key, so that it has its offset."""
        unit = self._table.unit_of_key[key]
        self._aims[unit] = self._plan.aim_of(key, cents)
        word = self._table.words_at(self._aims, (unit,))[unit]
        if word == self._sent[unit]:
            return ()
        self._sent[unit] = word
        return (self._table.change((unit,), self._sent),)


class Tables:
    """Takes a player's messages in and hands them on as they are, with the table's changes between.

    The plan that it begins with has been sent. `send_due` is to be called when it says.
    """

    def __init__(self, made: Plan, cable: Cable) -> None:
        """Nothing sounds."""
        receiver = made.receiver
        assert isinstance(receiver, KeyTuning | OctaveTuning)
        self._cable = cable
        self._plan = made
        self._table = _table(receiver)
        self._tuned = frozenset(channel - 1 for channel in receiver.midi_channels)
        self._moves_what_sounds = receiver.moves_what_sounds
        self._release_seconds = receiver.release_seconds
        self._sysex_seconds = receiver.sysex_seconds
        self._wanted = self._table.words(made)
        self._sent: list[Hashable] = list(self._wanted)
        self._pending: set[int] = set()  # units that are to be sent
        self._next_at = float("-inf")
        self._played: set[int] = set()  # channels, as in the bytes
        self._follower: ChordFollower | None = None
        self._others: tuple[tuple[int, float], ...] = ()
        self._now = float("-inf")
        self._stand_where_planned()
        self._fall_silent()

    def _stand_where_planned(self) -> None:
        """Of each unit the offset, and what a message is asked to hold for it."""
        keys = [self._table.unit_of_key.index(unit) for unit in range(len(self._wanted))]
        self._cents: list[float] = self._plan.scale.key_cents[keys].tolist()
        self._aims: list[float] = self._plan.aim_cents[keys].tolist()

    def follow(self, follower: "ChordFollower | None") -> None:
        """Have each new note follow the chord, beginning with silence, or none; its master is the plan's."""
        self._follower = follower

    def led_by(self, tones: Sequence[tuple[int, float]]) -> None:
        """Key and offset of what others sound, from the next note on."""
        self._others = tuple(tones)

    def _fall_silent(self) -> None:
        if self._follower is not None:
            self._follower.forget()
        self._channels = tuple(HeldKeys() for _ in range(16))
        self._sounding = [0] * len(self._wanted)  # notes that a key or a pedal holds, of each unit
        self._rings: list[dict[int, float]] = [{} for _ in self._wanted]  # by channel: until when at most

    def retune(self, made: Plan) -> None:
        """Go on in another temperament: what differs goes out bit by bit, see `send_due`."""
        self._plan = made
        self._wanted = self._table.words(made)
        if self._follower is None:
            self._pending = {unit for unit, word in enumerate(self._wanted) if word != self._sent[unit]}
        else:  # each note brings its own
            self._follower.retune(made.scale.key_cents.tolist())

    def take_over(self, made: Plan) -> None:
        """The receiver has been brought to this plan by other means, while nothing sounded."""
        self.retune(made)
        self._sent = list(self._wanted)
        self._stand_where_planned()
        self._pending.clear()

    @property
    def held_keys(self) -> frozenset[int]:
        """Keys that sound because a key or a pedal holds them."""
        return frozenset().union(*(self._channels[number].sounding for number in self._tuned))

    def held_on(self, number: int) -> bool:
        """Whether anything sounds so on a channel, 0 to 15."""
        return bool(self._channels[number].sounding)

    @property
    def rings_until(self) -> float:
        """When the last note that was let go has rung out."""
        return max((until for rings in self._rings for until in rings.values()), default=float("-inf"))

    @property
    def waits(self) -> bool:
        """Whether something of the tuning has still to be sent."""
        return bool(self._pending)

    def is_to_be_tuned(self, key: int) -> bool:
        """Whether a key's change has still to be sent."""
        return self._table.unit_of_key[key] in self._pending

    def receive(self, message: bytes, now: float) -> None:
        """One whole message of the player."""
        self._now = now
        status = message[0]
        kind, number = status & midi.KIND_BITS, status & midi.CHANNEL_BITS
        if status >= midi.SYSTEM:
            self._pass(message, now)
            if is_reset(message):
                self.start_over(now)
        elif kind == midi.NOTE_ON and message[2]:
            if self._channels[number].is_down(message[1]):  # its note-off was lost: never twice at once
                self.receive(bytes((midi.NOTE_OFF | number, message[1], 64)), now)
            self._strike(number, message[1], now)
            self._pass(message, now)
        else:
            self._pass(message, now)
            if kind in (midi.NOTE_OFF, midi.NOTE_ON):
                self._channels[number].release(message[1])
                self._end(number, self._channels[number].let_go())
            elif kind == midi.CONTROL:
                self._control(number, message[1], message[2])

    def send_due(self, now: float) -> float | None:
        """Send what may go out now. Gives the time at which to ask again; None when all has been sent."""
        while self._pending:
            due = max(self._cable.free_at, self._next_at)
            if due > now:
                return due
            ready = [unit for unit in sorted(self._pending, key=self._turn) if self._may_go(unit, now)]
            if not ready:
                return now + LOOK_SECONDS
            self._tune(ready[: self._table.at_once], now)
        return None

    def bring(self, now: float) -> None:
        """Send what waits for the cable alone, where one short message holds it all: a note comes next."""
        ready = [unit for unit in self._pending if self._may_go(unit, now)]
        if ready and self._table.with_a_note and len(ready) <= self._table.at_once:
            self._tune(ready, now)

    def start_over(self, now: float) -> None:
        """The receiver came back from nothing: no note sounds in it, and it is set up and tuned again."""
        self._fall_silent()
        for message in self._plan.set_up:
            self._pass(message, now)
        self._sent = [None] * len(self._wanted)
        self._pending = set(range(len(self._wanted)))

    def finish(self, now: float) -> None:
        """End every note, whatever holds it."""
        for message in midi.notes_off(sorted(number + 1 for number in self._played)):
            self._pass(message, now)
        self._played.clear()
        self._fall_silent()

    # -- what sounds -------------------------------------------------------------------------------------

    def _strike(self, number: int, key: int, now: float) -> None:
        self._played.add(number)
        if number not in self._tuned:
            return
        unit = self._table.unit_of_key[key]
        if self._follower is not None:
            self._join_the_chord(self._follower, number << 7 | key, unit, now)
        elif unit in self._pending and self._table.with_a_note and self._may_go(unit, now):
            others = self._pending if self._table.at_once >= len(self._wanted) else ()
            self._tune([unit, *(one for one in others if one != unit and self._may_go(one, now))], now)
        held = self._channels[number]
        if key not in held.sounding:
            self._sounding[unit] += 1
        held.strike(key)

    def _join_the_chord(self, follower: "ChordFollower", voice: int, unit: int, now: float) -> None:
        """Give a note its offset, where its key or class is free, and send what then differs."""
        if not self._may_go(unit, now):
            follower.stand(voice, voice & 0x7F, self._cents[unit], now)
            return
        moved = follower.strike(((voice, voice & 0x7F),), now, self._others)
        if len(self._wanted) == KEYS or not self._moves_what_sounds:
            follower.hold(voice)
        for one, cents in moved.items():
            at = self._table.unit_of_key[one & 0x7F]
            self._cents[at], self._aims[at] = cents, self._plan.aim_of(one & 0x7F, cents)
        words = self._table.words_at(
            self._aims, sorted({self._table.unit_of_key[one & 0x7F] for one in moved})
        )
        self._pending.difference_update(words)
        differ = [at for at, word in words.items() if word != self._sent[at]]
        for at in differ:
            self._sent[at] = words[at]
        if differ:
            self._send_change(self._table.change(differ, self._sent), now)

    def _control(self, number: int, controller: int, value: int) -> None:
        held = self._channels[number]
        if controller == midi.ALL_SOUND_OFF:
            self._end(number, held.silence())
            for rings in self._rings:
                if number in rings:
                    rings[number] = self._cable.free_at
        elif controller in (midi.SUSTAIN, midi.SOSTENUTO) or controller > midi.ALL_SOUND_OFF:
            held.control(controller, value)
            self._end(number, held.let_go())

    def _end(self, number: int, keys: set[int]) -> None:
        """Nothing holds these any more. They ring out from when the cable has carried what ended them."""
        if number not in self._tuned:
            return
        for key in keys:
            unit = self._table.unit_of_key[key]
            self._sounding[unit] -= 1
            self._rings[unit][number] = self._cable.free_at + self._release_seconds
            if self._follower is not None:
                self._follower.release(number << 7 | key, self._now)

    def _turn(self, unit: int) -> tuple[bool, int]:
        """Keys that are heard go first."""
        return len(self._wanted) == KEYS and unit not in self._plan.scale.heard_keys, unit

    def _may_go(self, unit: int, now: float) -> bool:
        """Whether no note would be moved."""
        if not self._moves_what_sounds:
            return True
        if self._sounding[unit]:
            return False
        rings = self._rings[unit]
        if not rings:
            return True
        if max(rings.values()) + self._table.pause_seconds > now:
            return False
        rings.clear()
        return True

    # -- out ---------------------------------------------------------------------------------------------

    def _tune(self, units: Sequence[int], now: float) -> None:
        self._send_change(self._table.message(self._plan, units, self._sent), now)
        planned = self._plan.scale.key_cents, self._plan.aim_cents
        for unit in units:
            self._sent[unit] = self._wanted[unit]
            key = self._table.unit_of_key.index(unit)
            self._cents[unit], self._aims[unit] = (float(cents[key]) for cents in planned)
        self._pending.difference_update(units)

    def _send_change(self, message: bytes, now: float) -> None:
        self._pass(message, now)
        self._next_at = self._cable.free_at + self._sysex_seconds

    def _pass(self, message: bytes, now: float) -> None:
        self._cable.carry(message, now)
