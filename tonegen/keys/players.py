"""What comes in: the players of a receiver, each with his wheel, controllers, pedals and bend range.

A keyboard that speaks MPE plays each note on a channel of its own; those channels are a zone, and share the
sound and the pedals of its manager. It says so once, when it is switched on (RPN 6), which may have been
before anybody listened here: so it is known by its way of playing as well.

Nothing of this is lost when the receiver goes away and comes back. Channels are nibbles, 0 to 15.
Sources: MIDI 1.0; General MIDI 2 (values at rest); RP-015 (reset of controllers); MPE 1.1, M1-100-UM.
"""

from typing import Final

from tonegen.keys import midi
from tonegen.keys.midi import ParameterReader

CENTRE: Final = 8192
TIMBRE: Final = 74  # of each note in a zone, like its bend and its pressure (MPE 1.1)
_ZONE_RANGE_SEMITONES: Final = 48  # of each member, until it says otherwise (MPE 1.1)
# What "reset all controllers" leaves as it is (RP-015).
SURVIVE_RESET: Final = frozenset((0, 7, 8, 10, 32, *range(70, 80), 91, 92, 93, 94, 95))


class KeyboardPlayer:
    """One channel that comes in; or all of them, where they are one player."""

    __slots__ = (
        "_tuning", "_usual_range", "controls", "free_data", "members", "number", "own_cents", "parameters",
        "part", "pedals", "pressure", "program", "range_semitones", "reader", "said_range", "sostenuto",
        "sustain", "wheel", "wheel_cents",
    )  # fmt: skip

    def __init__(self, number: int, range_semitones: float) -> None:
        """Nothing is moved yet."""
        self.number = number
        self.part = self  # whose program and controllers his notes have: a manager's, in a zone
        self.pedals = self  # whose pedals hold his notes
        self.members: tuple[KeyboardPlayer, ...] = ()  # of the zone that he is the manager of
        self._usual_range = range_semitones
        self.reader = ParameterReader()
        self.free_data = False  # a non-registered parameter is selected: data entry passes
        self.rest()

    def rest(self) -> None:
        """As a receiver is after a reset: nothing moved, no program chosen. Zones keep their range."""
        if self.part is self:
            self.range_semitones, self.said_range = self._usual_range, False
        self.wheel = CENTRE
        self.own_cents = self.wheel_cents = 0.0  # by his own wheel; with a manager's
        self.sustain = self.sostenuto = False
        self.pressure = 0
        self.program: int | None = None
        self.controls: dict[int, int] = {}
        self.parameters: dict[int, tuple[int, int]] = {}  # registered ones that are passed on
        self._tuning: dict[int, float] = {}  # fine and coarse, where they add to the receiver's

    def move_wheel(self, value: int) -> None:
        """Take the wheel's value, 0 to 16383; a manager's wheel bends all members (MPE 1.1, C.1)."""
        self.wheel = value
        self.own_cents = (value - CENTRE) / 8192 * 100 * self.range_semitones
        part = self.part
        self.wheel_cents = self.own_cents if part is self else self.own_cents + part.own_cents
        for member in self.members:
            member.wheel_cents = member.own_cents + self.own_cents

    def set_range(self, semitones: float) -> None:
        """Take a bend range; the wheel stays where it is."""
        self.range_semitones = semitones
        self.move_wheel(self.wheel)

    @property
    def bend_range(self) -> tuple[int, int]:
        """The range as RPN 0 has it, semitones and cents."""
        return divmod(round(self.range_semitones * 100), 100)

    @property
    def tuning_cents(self) -> float:
        """His own channel tuning, fine and coarse together."""
        return sum(self._tuning.values())

    def tune(self, number: int, msb: int, lsb: int) -> None:
        """Take a channel tuning of his own (RPN 1 or 2)."""
        if number == midi.FINE_TUNING:
            self._tuning[number] = float(midi.FINE_STEPS.cents(msb << 7 | lsb))
        else:
            self._tuning[number] = float(midi.COARSE_STEPS.cents(msb))

    def reset_controllers(self) -> None:
        """Reset all controllers (RP-015)."""
        self.sustain = self.sostenuto = False
        self.pressure = 0
        self.controls = {cc: value for cc, value in self.controls.items() if cc in SURVIVE_RESET}
        self.move_wheel(CENTRE)


class Players:
    """All sixteen, and who they are.

    apart : each channel is a player of his own; otherwise all that come in are one.
    shared_pedals : one pedal holds the notes of all, as it does in a receiver with a manager.
    untouched : channels whose messages pass as they are.
    """

    def __init__(
        self, range_semitones: float, apart: bool, shared_pedals: bool, untouched: frozenset[int]
    ) -> None:
        """Nobody has played yet."""
        self.all: Final = tuple(KeyboardPlayer(number, range_semitones) for number in range(16))
        self.on: Final = (
            list(self.all) if apart else [self.all[0]] * 16
        )  # by the channel that they come in on
        self.untouched = untouched
        self._shared_pedals = shared_pedals
        if shared_pedals:
            for player in self.all:
                player.pedals = self.all[0]
        self.zone_seeker: ZoneSeeker | None = ZoneSeeker()  # until a zone is known

    def play_in_zone(self, manager: int, members: int, said: bool = True) -> tuple[KeyboardPlayer, ...]:
        """Open a zone beside `manager`, 0 or 15; none of its channels is for drums. 0 members close it.

        said : as announced, which sets the members' bend ranges; otherwise ranges that were said stay.
        Returns whose bend may be another now.
        """
        self.zone_seeker = None
        head = self.all[manager]
        step = 1 if manager == 0 else -1
        zone = tuple(self.all[manager + step * place] for place in range(1, members + 1))
        self.untouched -= {player.number for player in zone}
        left = [player for player in head.members if player not in zone]
        head.members = zone
        self.on[manager] = head
        for player in left:
            player.part = player
        for player in zone:
            taken_for, self.on[player.number] = self.on[player.number], player
            player.part = head
            if said or not taken_for.said_range:
                player.set_range(_ZONE_RANGE_SEMITONES)
            else:
                player.set_range(taken_for.range_semitones)
            player.said_range = True
        for player in (*zone, *left):
            player.pedals = self.all[0] if self._shared_pedals else player.part
            player.move_wheel(player.wheel)
        return (*zone, *left)

    def rest(self) -> None:
        """A reset passed by: nothing is moved, but keyboards play as they did."""
        for player in self.all:
            player.rest()


_BEND, _PRESSURE, _TIMBRE, _AGAIN, _PROGRAM = 1, 2, 4, 8, 16
_EACH_ONCE: Final = _BEND | _PRESSURE | _TIMBRE
_ENOUGH_CHANNELS: Final = 3


class ZoneSeeker:
    """Knows an MPE keyboard by its notes: each alone on its channel, not the manager's, and bent beforehand.

    One note is enough where bend, pressure and timbre come once each before it while its channel is silent,
    as the standard asks (MPE 1.1, 2.4); a hand on a wheel or knob sends many. With bends alone it takes three
    notes in a row, on three channels. A lower zone of fifteen is assumed, since the standard would have
    keyboards use that (A.2).
    """

    def __init__(self) -> None:
        """Nothing was played yet."""
        self.keys: list[set[int]] = [set() for _ in range(16)]  # by channel: those that are down
        self.last: list[dict[int, int]] = [{} for _ in range(16)]  # the last values, by the flags above
        self._before = bytearray(16)  # by channel: what came since its last note
        self._row: set[int] = set()

    def shown_by(self, message: bytes) -> bool:
        """Whether this message, after those before it, shows an MPE keyboard; it is asked about every one."""
        kind, channel = message[0] & midi.KIND_BITS, message[0] & midi.CHANNEL_BITS
        before = self._before[channel]
        if kind == midi.NOTE_ON and message[2]:
            return self._note_shows(channel, message[1])
        if kind in (midi.NOTE_ON, midi.NOTE_OFF):
            self.keys[channel].discard(message[1])
            self._before[channel] = before & _PROGRAM
        elif kind == midi.PROGRAM:  # a part with a sound of its own, not a note of a zone
            self._before[channel] = before | _PROGRAM
        elif kind == midi.BEND:
            self._came(channel, _BEND, message[2] << 7 | message[1])
        elif kind == midi.PRESSURE:
            self._came(channel, _PRESSURE, message[1])
        elif kind == midi.CONTROL and message[1] == TIMBRE:
            self._came(channel, _TIMBRE, message[2])
        return False

    def _came(self, channel: int, what: int, value: int) -> None:
        before = self._before[channel]
        self._before[channel] = before | what | (_AGAIN if before & what else 0)
        self.last[channel][what] = value

    def tell(self, player: KeyboardPlayer) -> None:
        """Let a player of the zone have what came on his channel before it was known."""
        last = self.last[player.number]
        player.move_wheel(last.get(_BEND, CENTRE))
        player.pressure = last.get(_PRESSURE, 0)
        player.controls.pop(TIMBRE, None)
        if _TIMBRE in last:
            player.controls[TIMBRE] = last[_TIMBRE]

    def _note_shows(self, channel: int, key: int) -> bool:
        before, held = self._before[channel], self.keys[channel] - {key}
        self._before[channel] = before & _PROGRAM
        self.keys[channel].add(key)
        if channel == 0 or held or not before & _BEND or before & _PROGRAM:
            self._row.clear()
            return False
        self._row.add(channel)
        return before == _EACH_ONCE or len(self._row) >= _ENOUGH_CHANNELS
