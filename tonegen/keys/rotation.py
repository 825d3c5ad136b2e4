"""Notes retuned as they pass: which channel each takes, and what else must go there.

A receiver with a bend (or a tuning) for each pitch class has its channels fixed; one with a bend for each
note has them in rotation, MPE's way: a released note keeps its bend until it is truly silent, a new one takes
the free channel that was longest unused, and when all are busy the oldest note gives way.

Conventions: messages are `bytes`, whole, with their status. Channels are nibbles 0 to 15 here, as in the
bytes. The wheel of a player is added to the offset of each note. What a player's channel sounds like (its
program and controllers) follows its notes to the channels that they take; a channel "wears" it.

Messages are read and written as bytes, without an object for each: this is the path that a player waits for.
"""

from collections.abc import Callable
from typing import Final

from tonegen.keys import messages as midi
from tonegen.keys.messages import ParameterReader
from tonegen.keys.plan import Plan
from tonegen.keys.receivers import BendPerClass, BendPerNote, TuningPerClass

Retuned = BendPerClass | BendPerNote | TuningPerClass

_NOWHERE: Final = 0xFF
_HELD: Final = 1  # the key is down
_CAUGHT: Final = 2  # by the sostenuto pedal
_FLAG_BITS: Final = 2
_CENTRE: Final = 8192
# How long a released note may ring where the receiver's file does not say (common practice, no source).
_USUAL_RELEASE_SECONDS: Final = 2.0
_ZONE_RANGE_SEMITONES: Final = 48.0  # of each member, until it says otherwise (MPE 1.1)
_BANK_SELECT: Final = (0, 32)
# What a controller goes back to when a channel changes hands; 0 for those not named (General MIDI 2).
_AT_REST: Final = {7: 100, 8: 64, 10: 64, 11: 127, **dict.fromkeys(range(70, 80), 64)}
# What "reset all controllers" leaves as it is (RP-015).
_SURVIVE_RESET: Final = frozenset((0, 7, 8, 10, 32, *range(70, 80), 91, 92, 93, 94, 95))


class Rotation:
    """Takes a player's messages in, and hands retuned ones to `send`.

    spread : let a receiver with fixed channels rotate as well; needed when several players, each with a
        sound of his own, share it.
    """

    def __init__(self, plan: Plan, send: Callable[[bytes], object], spread: bool = False) -> None:
        """All channels free. The set-up (`plan.messages`) is the caller's to send before the first note."""
        receiver = plan.receiver
        assert isinstance(receiver, Retuned)
        self._send = send
        self._receiver = receiver
        self._plan = plan
        self.clipped = 0  # bends that the range could not hold
        played = receiver.played if isinstance(receiver, BendPerNote) else receiver.channels
        self._channels: Final = tuple(channel - 1 for channel in played)
        self._rotates = spread or isinstance(receiver, BendPerNote)
        self._bends = not isinstance(receiver, TuningPerClass)
        manager = receiver.manager if isinstance(receiver, BendPerNote) else None
        self._manager = None if manager is None else manager - 1
        self._untouched = frozenset(channel - 1 for channel in receiver.untouched)
        self._release_seconds = getattr(receiver, "release_seconds", _USUAL_RELEASE_SECONDS)
        self._steps_per_cent = 0.0
        wheel_range = 2.0
        if not isinstance(receiver, TuningPerClass):
            self._steps_per_cent = 1 / midi.bend_steps(receiver.bend_range_semitones).step_cents
            wheel_range = float(receiver.wheel_range_semitones)
            self._wheel_scale = self._steps_per_cent / receiver.bend_scale
        # With one manager, or fixed channels, all that come in are one player.
        self._own = tuple(range(16)) if self._rotates else (0,) * 16
        self._pedal_of = self._own if self._manager is None else (0,) * 16
        self._aims: list[float] = []
        self._take_aims(plan)

        # of the players, by the channel that they come in on
        self._where = bytearray((_NOWHERE,) * 2048)  # by player << 7 | key: the channel of a held note
        self._wheel = [_CENTRE] * 16
        self._own_steps = [0.0] * 16
        self._wheel_steps = [0.0] * 16  # with those of the manager, where the player is a zone's member
        self._zone_of: list[tuple[int, ...]] = [()] * 16  # of a zone's manager: its members
        self._manager_of = [-1] * 16
        self._wheel_range = [wheel_range] * 16
        self._sustain = [False] * 16
        self._sostenuto = [False] * 16
        self._pressure = [0] * 16
        self._program: list[int | None] = [None] * 16
        self._controls: list[dict[int, int]] = [{} for _ in range(16)]
        self._readers = [ParameterReader() for _ in range(16)]
        self._free_data = [False] * 16  # a non-registered parameter is selected: data entry passes

        # of the channels that go out
        self._voices: list[dict[int, int]] = [
            {} for _ in range(16)
        ]  # player << 7 | key -> start << 2 | flags
        self._aim = [0.0] * 16
        self._bent = [_CENTRE] * 16  # the bend that it was sent last
        self._silent_at = [float("-inf")] * 16
        self._unused_since = [float("-inf")] * 16
        self._wearer = [-1] * 16
        self._worn_program: list[int | None] = [None] * 16
        self._worn_controls: list[dict[int, int]] = [{} for _ in range(16)]
        self._worn_pressure = [0] * 16
        self._first_player = -1
        self._started = 0
        if not isinstance(receiver, BendPerNote):  # its set-up has tuned each channel for its pitch class
            for pitch_class, channel in enumerate(self._channels):
                self._aim[channel] = self._aims[pitch_class]
                self._bent[channel] = self._bend_value(channel, 0.0) if self._bends else _CENTRE

    @property
    def active_voices(self) -> int:
        """Notes that sound because a key or a pedal holds them."""
        return sum(map(len, self._voices))

    def retune(self, plan: Plan) -> None:
        """Go on in another temperament. Sounding notes keep theirs; the next ones have the new."""
        self._plan = plan
        self._take_aims(plan)

    def _take_aims(self, plan: Plan) -> None:
        scale = self._steps_per_cent if self._bends else 1.0
        self._aims = (plan.aim_cents * scale).tolist()

    # -- in ----------------------------------------------------------------------------------------------

    def receive(self, message: bytes, now: float) -> None:
        """One whole message of the player, at `now` in seconds of any steady clock."""
        status = message[0]
        if status >= 0xF0:
            self._system(message, now)
            return
        player = status & 0x0F
        if player in self._untouched:
            self._send(message)
            return
        kind = status & 0xF0
        own = self._own[player]
        if kind == 0x90 and message[2]:
            self._note_on(own, message[1], message[2], now)
        elif kind == 0x80 or kind == 0x90:
            self._note_off(own, message[1], message[2] if kind == 0x80 else 64, now)
        elif kind == 0xE0:
            self._wheel_moved(own, message[2] << 7 | message[1], now)
        elif kind == 0xB0:
            self._control(own, message[1], message[2], now)
        elif kind == 0xD0:
            self._pressed(own, message[1], now)
        elif kind == 0xA0:
            self._key_pressed(own, message[1], message[2])
        else:
            self._program_changed(own, message[1])

    def finish(self, now: float) -> None:
        """End every note, whatever holds it."""
        for channel in self._channels:
            for voice in list(self._voices[channel]):
                if self._where[voice] == channel:
                    self._send(bytes((0x80 | channel, voice & 0x7F, 64)))
                    self._where[voice] = _NOWHERE
            self._voices[channel].clear()
            self._silent_at[channel] = now
        for player in range(16):
            for pedal, down in ((midi.SUSTAIN, self._sustain), (midi.SOSTENUTO, self._sostenuto)):
                if down[self._pedal_of[player]]:
                    self._pass_control(player, pedal, 0)
            self._sustain[player] = self._sostenuto[player] = False

    # -- notes -------------------------------------------------------------------------------------------

    def _note_on(self, player: int, key: int, velocity: int, now: float) -> None:
        voice = player << 7 | key
        if self._first_player < 0:
            self._first_seen(player)
        if (before := self._where[voice]) != _NOWHERE:  # struck again without a note-off
            self._send(bytes((0x80 | before, key, 64)))
            self._let_go(voice, before, now)
        send = self._send
        if self._rotates:
            aim = self._aims[key]
            channel = self._free_channel(player, key, voice, aim, now)
            if self._wearer[channel] != player:
                self._dress(channel, player)
            if self._bends:
                self._aim[channel] = aim
                value = self._bend_value(channel, self._wheel_steps[player])
                self._bent[channel] = value
                send(bytes((0xE0 | channel, value & 0x7F, value >> 7)))
            else:
                self._adopt(channel, aim, player)
        else:
            channel = self._channels[key % 12]
            if not self._voices[channel]:
                self._adopt(channel, self._aims[key % 12], player)
        pressure = 0 if self._manager is not None else self._pressure[player]
        if self._worn_pressure[channel] != pressure:
            self._worn_pressure[channel] = pressure
            send(bytes((0xD0 | channel, pressure)))
        send(bytes((0x90 | channel, key, velocity)))
        self._started += 1
        voices = self._voices[channel]
        voices[voice] = self._started << _FLAG_BITS | _HELD | voices.get(voice, 0) & _CAUGHT
        self._where[voice] = channel

    def _note_off(self, player: int, key: int, velocity: int, now: float) -> None:
        voice = player << 7 | key
        channel = self._where[voice]
        if channel == _NOWHERE:  # stray, or its note was stolen
            return
        self._send(bytes((0x80 | channel, key, velocity)))
        self._let_go(voice, channel, now)

    def _let_go(self, voice: int, channel: int, now: float) -> None:
        """The key of a voice is up: it ends, unless a pedal holds it."""
        self._where[voice] = _NOWHERE
        voices = self._voices[channel]
        flags = voices[voice] & ~_HELD
        if flags & _CAUGHT or self._sustain[self._pedal_of[voice >> 7]]:
            voices[voice] = flags
        else:
            self._end(voice, channel, now)

    def _end(self, voice: int, channel: int, now: float) -> None:
        voices = self._voices[channel]
        del voices[voice]
        if not voices:
            self._unused_since[channel] = now
            self._silent_at[channel] = now + self._release_seconds

    def _free_channel(self, player: int, key: int, voice: int, aim: float, now: float) -> int:
        """The channel that a new note of a rotation takes; the oldest note gives way when it must.

        In order: where this very note still sounds in the same tune; free, longest unused; ringing in the
        same tune; shared in the same tune; ringing in another, nearest its end; the oldest note's.
        """
        free = alike = shared = ringing = -1
        longest = soonest = float("inf")
        for channel in self._channels:
            voices = self._voices[channel]
            same = self._aim[channel] == aim and self._wearer[channel] == player
            if voices:
                if same:
                    if voice in voices:
                        return channel
                    if shared < 0 and not any(other & 0x7F == key for other in voices):
                        shared = channel
            elif self._silent_at[channel] <= now:
                if self._unused_since[channel] < longest or free < 0:
                    free, longest = channel, self._unused_since[channel]
            elif same:
                alike = channel
            elif self._silent_at[channel] < soonest:
                ringing, soonest = channel, self._silent_at[channel]
        for channel in (free, alike, shared, ringing):
            if channel >= 0:
                return channel
        return self._steal(now)

    def _steal(self, now: float) -> int:
        channel = min(self._channels, key=lambda one: min(self._voices[one].values()))
        goes_on = self._release_seconds > 0
        for voice, flags in self._voices[channel].items():
            goes_on |= bool(flags & _CAUGHT or self._sustain[self._pedal_of[voice >> 7]])
            if self._where[voice] == channel:
                self._send(bytes((0x80 | channel, voice & 0x7F, 64)))
                self._where[voice] = _NOWHERE
        self._voices[channel].clear()
        self._unused_since[channel] = self._silent_at[channel] = now
        if goes_on:  # its ring, or a pedal, would sound on in the new note's tune
            self._send(bytes((0xB0 | channel, midi.ALL_SOUND_OFF, 0)))
        return channel

    # -- the tune of a channel ---------------------------------------------------------------------------

    def _bend_value(self, channel: int, wheel_steps: float) -> int:
        value = int(self._aim[channel] + wheel_steps + (_CENTRE + 0.5))
        if 0 <= value <= 16383:
            return value
        self.clipped += 1
        return 0 if value < 0 else 16383

    def _adopt(self, channel: int, aim: float, player: int) -> None:
        """Bring a channel that holds no other note to this tune and to the player's wheel."""
        if self._bends:
            self._aim[channel] = aim
            self._bend_if_moved(channel, self._bend_value(channel, self._wheel_steps[player]))
        else:
            if self._aim[channel] != aim:
                self._tune_channel(channel, aim)
            self._bend_if_moved(channel, self._wheel[player])

    def _tune_channel(self, channel: int, aim: float) -> None:
        self._aim[channel] = aim
        for message in midi.channel_tuning(channel + 1, aim).messages:
            self._send(message)

    def _bend_if_moved(self, channel: int, value: int) -> None:
        if value != self._bent[channel]:
            self._bent[channel] = value
            self._send(bytes((0xE0 | channel, value & 0x7F, value >> 7)))

    def _wheel_moved(self, player: int, value: int, now: float) -> None:
        self._take_wheel(player, value)
        self._follow_wheel(player, now)
        for member in self._zone_of[player]:
            self._follow_wheel(member, now)

    def _take_wheel(self, player: int, value: int) -> None:
        self._wheel[player] = value
        if self._bends:
            travel = (value - _CENTRE) / 8192 * 100 * self._wheel_range[player]
            self._own_steps[player] = travel * self._wheel_scale
            for one in (player, *self._zone_of[player]):
                manager = self._manager_of[one]
                zone_steps = self._own_steps[manager] if manager >= 0 else 0.0
                self._wheel_steps[one] = self._own_steps[one] + zone_steps

    def _follow_wheel(self, player: int, now: float) -> None:
        """Bend what sounds; the others are bent before their next note."""
        for channel in self._channels:
            if self._rotates and self._wearer[channel] != player:
                continue
            if self._voices[channel] or self._silent_at[channel] > now:
                self._follow(channel, player)

    def _follow(self, channel: int, player: int) -> None:
        bends = self._bends
        value = self._bend_value(channel, self._wheel_steps[player]) if bends else self._wheel[player]
        self._bend_if_moved(channel, value)

    # -- the sound of a channel --------------------------------------------------------------------------

    def _first_seen(self, player: int) -> None:
        """The first player's sound goes to all channels as it comes; most often he is the only one."""
        self._first_player = player
        for channel in self._channels:
            self._wearer[channel] = player

    def _targets(self, player: int) -> tuple[int, ...]:
        """Where a player's controllers go: the manager, or the channels that wear his sound."""
        if self._manager is not None:
            return (self._manager,)
        return self._wearing(player)

    def _wearing(self, player: int) -> tuple[int, ...]:
        if self._first_player < 0:
            self._first_seen(player)
        if not self._rotates:
            return self._channels
        return tuple(channel for channel in self._channels if self._wearer[channel] == player)

    def _dress(self, channel: int, player: int) -> None:
        """Give a channel the sound of another player: his bank and program, and his controllers."""
        self._wearer[channel] = player
        wanted, worn = self._controls[player], self._worn_controls[channel]
        kept = _BANK_SELECT if self._manager is not None else tuple(dict.fromkeys((*wanted, *worn)))
        bank_moved = False
        for controller in kept:
            value = wanted.get(controller, _AT_REST.get(controller, 0))
            if controller in worn or controller in wanted:
                bank_moved |= self._wear_control(channel, controller, value) and controller in _BANK_SELECT
        program, worn_program = self._program[player], self._worn_program[channel]
        if program is None and worn_program is not None:
            program = 0
        if program is not None and (bank_moved or program != worn_program):
            self._wear_program(channel, program)

    def _wear_control(self, channel: int, controller: int, value: int) -> bool:
        if self._worn_controls[channel].get(controller) == value:
            return False
        self._worn_controls[channel][controller] = value
        self._send(bytes((0xB0 | channel, controller, value)))
        return True

    def _wear_program(self, channel: int, program: int) -> None:
        self._worn_program[channel] = program
        self._send(bytes((0xC0 | channel, program)))

    def _program_changed(self, player: int, program: int) -> None:
        """To the manager, and to members as well: those of a zone ignore it, others need it."""
        self._program[player] = program
        if self._manager is not None:
            self._send(bytes((0xC0 | self._manager, program)))
        for channel in self._wearing(player):
            self._wear_program(channel, program)

    def _pressed(self, player: int, pressure: int, now: float) -> None:
        self._pressure[player] = pressure
        if self._manager is not None:
            self._send(bytes((0xD0 | self._manager, pressure)))
            return
        for channel in self._wearing(player):
            if self._voices[channel] or self._silent_at[channel] > now:
                self._worn_pressure[channel] = pressure
                self._send(bytes((0xD0 | channel, pressure)))

    def _key_pressed(self, player: int, key: int, pressure: int) -> None:
        """Pressure on one key: as channel pressure in a zone, where the standard forbids the other."""
        channel = self._where[player << 7 | key]
        if channel == _NOWHERE:
            return
        if self._manager is None:
            self._send(bytes((0xA0 | channel, key, pressure)))
        else:
            self._worn_pressure[channel] = pressure
            self._send(bytes((0xD0 | channel, pressure)))

    # -- controllers -------------------------------------------------------------------------------------

    def _control(self, player: int, controller: int, value: int, now: float) -> None:
        if controller in ParameterReader.CONTROLLERS:
            self._parameter(player, controller, value, now)
        elif controller == midi.ALL_SOUND_OFF:
            self._sound_off(player, now)
        elif controller == midi.RESET_CONTROLLERS:
            self._reset_controllers(player, now)
        elif controller >= midi.ALL_NOTES_OFF:  # and the modes above it, which would undo the rig
            self._all_notes_off(player, now)
        else:
            if controller == midi.SUSTAIN:
                self._sustain_moved(self._pedal_of[player], value >= 64, now)
            elif controller == midi.SOSTENUTO:
                self._sostenuto_moved(self._pedal_of[player], value >= 64, now)
            self._controls[player][controller] = value
            self._pass_control(player, controller, value)
            if controller in _BANK_SELECT and self._manager is not None:
                for channel in self._wearing(player):
                    self._wear_control(channel, controller, value)

    def _pass_control(self, player: int, controller: int, value: int) -> None:
        for channel in self._targets(player):
            self._worn_controls[channel][controller] = value
        self._pass_data(player, controller, value)

    def _pass_data(self, player: int, controller: int, value: int) -> None:
        for channel in self._targets(player):
            self._send(bytes((0xB0 | channel, controller, value)))

    def _voices_of(self, pedal: int) -> list[tuple[int, int]]:
        """Channel and voice of all that a pedal acts on."""
        return [
            (channel, voice)
            for channel in self._channels
            for voice in self._voices[channel]
            if self._pedal_of[voice >> 7] == pedal
        ]

    def _sustain_moved(self, pedal: int, down: bool, now: float) -> None:
        self._sustain[pedal] = down
        if not down:
            for channel, voice in self._voices_of(pedal):
                if not self._voices[channel][voice] & (_HELD | _CAUGHT):
                    self._end(voice, channel, now)

    def _sostenuto_moved(self, pedal: int, down: bool, now: float) -> None:
        if down == self._sostenuto[pedal]:
            return
        self._sostenuto[pedal] = down
        for channel, voice in self._voices_of(pedal):
            if down:
                self._voices[channel][voice] |= _CAUGHT
                continue
            self._voices[channel][voice] &= ~_CAUGHT
            if not self._voices[channel][voice] & _HELD and not self._sustain[pedal]:
                self._end(voice, channel, now)

    def _all_notes_off(self, player: int, now: float) -> None:
        """Each held note gets its own note-off, on its own channel; pedals go on holding."""
        for channel in self._channels:
            for voice in list(self._voices[channel]):
                if voice >> 7 == player and self._where[voice] == channel:
                    self._send(bytes((0x80 | channel, voice & 0x7F, 64)))
                    self._let_go(voice, channel, now)
        if self._manager is None or not self.active_voices:
            for channel in self._targets(player):
                self._send(bytes((0xB0 | channel, midi.ALL_NOTES_OFF, 0)))

    def _sound_off(self, player: int, now: float) -> None:
        for channel in self._channels:
            mine = [voice for voice in self._voices[channel] if voice >> 7 == player]
            for voice in mine:
                if self._where[voice] == channel:
                    self._send(bytes((0x80 | channel, voice & 0x7F, 64)))
                    self._where[voice] = _NOWHERE
                self._end(voice, channel, now)
            if not self._voices[channel] and (not self._rotates or self._wearer[channel] in (player, -1)):
                self._silent_at[channel] = now
                self._send(bytes((0xB0 | channel, midi.ALL_SOUND_OFF, 0)))
        if self._manager is not None and not self.active_voices:
            self._send(bytes((0xB0 | self._manager, midi.ALL_SOUND_OFF, 0)))

    def _reset_controllers(self, player: int, now: float) -> None:
        pedal = self._pedal_of[player]
        self._sustain_moved(pedal, False, now)
        self._sostenuto_moved(pedal, False, now)
        self._take_wheel(player, _CENTRE)
        self._pressure[player] = 0
        kept = {cc: value for cc, value in self._controls[player].items() if cc in _SURVIVE_RESET}
        self._controls[player] = kept
        for channel in self._targets(player):
            worn = self._worn_controls[channel]
            self._worn_controls[channel] = {cc: value for cc, value in worn.items() if cc in _SURVIVE_RESET}
            self._send(bytes((0xB0 | channel, midi.RESET_CONTROLLERS, 0)))
        for channel in self._channels if self._manager is not None else self._wearing(player):
            self._worn_pressure[channel] = 0
            self._bent[channel] = _NOWHERE << 8  # the reset has put it to the centre
            if self._voices[channel] or self._silent_at[channel] > now or not self._rotates:
                self._follow(channel, player if not self._rotates else self._wearer[channel])

    def _parameter(self, player: int, controller: int, value: int, now: float) -> None:
        """Parameters of the player: his bend range is taken in; what would undo the rig is kept from it."""
        reader = self._readers[player]
        entry = reader.read(controller, value)
        if controller in (midi.NRPN_MSB, midi.NRPN_LSB):
            self._free_data[player] = True
            self._pass_data(player, controller, value)
        elif controller in (midi.RPN_MSB, midi.RPN_LSB):
            self._free_data[player] = False
        elif entry is None:
            if self._free_data[player]:
                self._pass_data(player, controller, value)
        elif entry[0] == midi.BEND_RANGE:
            self._wheel_range[player] = entry[1] + entry[2] / 100
            self._wheel_moved(player, self._wheel[player], now)
        elif entry[0] == midi.MPE_CONFIGURATION:
            self._plays_in_a_zone(player, entry[1], now)
        elif self._bends or entry[0] > midi.COARSE_TUNING:
            for channel in self._targets(player):
                for one, data in ((midi.RPN_MSB, 0), (midi.RPN_LSB, entry[0]), (controller, value)):
                    self._send(bytes((0xB0 | channel, one, data)))

    def _plays_in_a_zone(self, manager: int, members: int, now: float) -> None:
        """A keyboard that speaks MPE plays on all of a zone's channels: none is for drums, all bend far.

        The manager's wheel bends all members (MPE 1.1, pitch bend of a zone is the sum of both).
        """
        if manager not in (0, 15) or not self._rotates:
            return
        zone = tuple(manager + place if manager == 0 else manager - place for place in range(1, members + 1))
        self._untouched -= set(zone)
        left = set(self._zone_of[manager]) - set(zone)
        self._zone_of[manager] = zone
        for member in zone:
            self._manager_of[member] = manager
            self._wheel_range[member] = _ZONE_RANGE_SEMITONES
        for member in left:
            self._manager_of[member] = -1
        for member in (*zone, *left):
            self._wheel_moved(member, self._wheel[member], now)

    # -- system messages ---------------------------------------------------------------------------------

    def _system(self, message: bytes, now: float) -> None:
        self._send(message)
        if is_reset(message):
            self.start_over()

    def start_over(self) -> None:
        """The receiver was reset: nothing sounds there any more, and its set-up is sent again."""
        fresh = Rotation(self._plan, self._send, self._rotates)
        fresh.clipped = self.clipped
        self.__dict__.update(fresh.__dict__)
        for message in self._plan.messages:
            self._send(message)


def is_reset(message: bytes) -> bool:
    """Whether a message puts a receiver back to its start: System Reset, General MIDI on or off."""
    general_midi = (
        len(message) == 6 and message[0] == midi.SYSEX and message[1] == 0x7E and message[3] == 0x09
    )
    return general_midi or message[0] == midi.RESET
