"""Notes retuned as they pass: a player's messages in, retuned ones out.

A receiver with a bend (or a tuning) for each pitch class has a channel for each; one with a bend for each
note has its channels in rotation, MPE's way. `players` knows what comes in, `channels` what goes out; here
each message finds its way from one to the other.

Conventions: messages are `bytes`, whole, with their status. Channels are nibbles 0 to 15 here, as in the
bytes. The wheel of a player is added to the offset of each note.

Messages are read and written as bytes, without an object for each: this is the path that a player waits for.
"""

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Final

from tonegen.keys import midi
from tonegen.keys.channels import BANK_SELECT, CAUGHT, HELD, Channel, Channels, Retuned
from tonegen.keys.midi import (
    BEND,
    CHANNEL_BITS,
    CONTROL,
    KEY_PRESSURE,
    KIND_BITS,
    NOTE_OFF,
    NOTE_ON,
    PRESSURE,
    SYSTEM,
    ParameterReader,
)
from tonegen.keys.plan import Plan
from tonegen.keys.players import TIMBRE, KeyboardPlayer, Players, ZoneSeeker
from tonegen.keys.receivers import BendPerNote, TuningPerClass

if TYPE_CHECKING:
    from tonegen.keys.chords import ChordFollower

_USUAL_WHEEL_SEMITONES: Final = float(midi.USUAL_BEND_RANGE_SEMITONES)
_WHOLE_ZONE: Final = 15

_CLIPPED: Final = "Bends reach beyond the bend range; raise bend_range_semitones."
_WAITED: Final = (
    "All channels were held when the tuning changed, so some notes sounded in an older one; "
    "let go of keys or pedal, and the next are in tune."
)


class Rotation:
    """Takes a player's messages in, and hands retuned ones to `send`.

    spread : let a receiver with fixed channels rotate as well; needed when several players, each with a
        sound of his own, share it.
    mpe_keyboard : the player's keyboard is in MPE mode; otherwise it is recognised, or says so.
    """

    def __init__(
        self, plan: Plan, send: Callable[[bytes], object], spread: bool = False, mpe_keyboard: bool = False
    ) -> None:
        """All channels free. The set-up (`plan.messages`) is the caller's to send before the first note."""
        receiver = plan.receiver
        assert isinstance(receiver, Retuned)
        self._send = send
        self._plan = plan
        self._rotate = spread or isinstance(receiver, BendPerNote)
        wheel_range = _USUAL_WHEEL_SEMITONES
        if not isinstance(receiver, TuningPerClass):
            wheel_range = float(receiver.wheel_range_semitones)
        self._players: Final = Players(
            wheel_range,
            apart=self._rotate,
            shared_pedals=isinstance(receiver, BendPerNote) and receiver.manager is not None,
            untouched=frozenset(channel - 1 for channel in receiver.untouched),
        )
        self._out = Channels(plan, send, self._rotate)
        if not self._rotate:
            self._out.wearing(self._players.all[0])
        if mpe_keyboard:
            self._players.play_in_zone(0, _WHOLE_ZONE)

    @property
    def active_voices(self) -> int:
        """Notes that sound because a key or a pedal holds them."""
        return self._out.active_voices

    @property
    def held_keys(self) -> frozenset[int]:
        """Keys that sound because a key or a pedal holds them."""
        return frozenset(voice & 0x7F for _, voice in self._out.voices())

    @property
    def rings_until(self) -> float:
        """When the last note that was let go has rung out."""
        return max(channel.silent_at for channel in self._out.played)

    @property
    def clipped(self) -> int:
        """Bends that the range could not hold."""
        return self._out.clipped

    @property
    def waited(self) -> int:
        """Notes that sounded in an older temperament, since all channels were held in it."""
        return self._out.waited

    @property
    def cautions(self) -> tuple[str, ...]:
        """What fell short, in sentences."""
        follower = self._out.follower
        told = ((self.clipped, _CLIPPED), (self.waited, _WAITED))
        return (
            *(words for count, words in told if count),
            *(follower.cautions if follower is not None else ()),
        )

    def retune(self, plan: Plan) -> None:
        """Go on in another temperament. Sounding notes keep theirs; the next ones have the new."""
        self._plan = plan
        self._out.retune(plan)

    def follow(self, follower: "ChordFollower | None") -> None:
        """Have each new note follow the chord, beginning with silence, or none; its master is the plan's."""
        self._out.follower = follower

    def led_by(self, tones: Sequence[tuple[int, float]]) -> None:
        """Key and offset of what others sound, from the next note on."""
        self._out.others = tuple(tones)
        if self._out.follower is not None:
            self._out.follower.look_again()

    def glide(self, now: float) -> float | None:
        """Have held notes glide a step where they are to; when to ask again, None at rest."""
        return self._out.glide(now)

    def tune_key(self, key: int, cents: float) -> None:
        """Have the next notes of one key at this offset, until another temperament comes."""
        self._out.tune_key(key, cents)

    # -- in ----------------------------------------------------------------------------------------------

    def receive(self, message: bytes, now: float) -> None:
        """One whole message of the player, at `now` in seconds of any steady clock."""
        status = message[0]
        if status >= SYSTEM:
            self._system(message)
            return
        players = self._players
        if players.zone_seeker is not None and players.zone_seeker.shown_by(message):
            self._zone_found(players.zone_seeker, now)
        channel = status & CHANNEL_BITS
        if channel in players.untouched:
            self._send(message)
            return
        kind = status & KIND_BITS
        player = players.on[channel]
        if kind == NOTE_ON and message[2]:
            self._note_on(player, message[1], message[2], now)
        elif kind in (NOTE_OFF, NOTE_ON):
            self._note_off(player, message[1], message[2] if kind == NOTE_OFF else 64, now)
        elif kind == BEND:
            self._wheel_moved(player, message[2] << 7 | message[1], now)
        elif kind == CONTROL:
            self._control(player, message[1], message[2], now)
        elif kind == PRESSURE:
            self._pressed(player, message[1], now)
        elif kind == KEY_PRESSURE:
            self._key_pressed(player, message[1], message[2])
        else:
            self._program_changed(player, message[1])

    def finish(self, now: float) -> None:
        """End every note, whatever holds it."""
        for channel in self._out.played:
            self._out.silence(channel, now)
        for player in self._players.all:
            for pedal in (midi.SUSTAIN, midi.SOSTENUTO):
                if player.controls.get(pedal):
                    player.controls[pedal] = 0
                    self._pass_control(player, pedal, 0)
            player.sustain = player.sostenuto = False

    # -- notes -------------------------------------------------------------------------------------------

    def _note_on(self, player: KeyboardPlayer, key: int, velocity: int, now: float) -> None:
        if (player.number << 7 | key) in self._out.where:  # struck again: its note-off was lost
            self._note_off(player, key, 64, now)
        self._out.strike(player, key, velocity, now)

    def _note_off(self, player: KeyboardPlayer, key: int, velocity: int, now: float) -> None:
        voice = player.number << 7 | key
        channel = self._out.lift(voice, velocity)
        if channel is not None:  # or it is stray, or its note was stolen
            self._let_go(player, voice, channel, now)

    def _let_go(self, player: KeyboardPlayer, voice: int, channel: Channel, now: float) -> None:
        """The key of a voice is up: it ends, unless a pedal holds it."""
        if not (player.pedals.sustain or channel.voices[voice] & CAUGHT):
            self._out.end(channel, voice, now)

    def _wheel_moved(self, player: KeyboardPlayer, value: int, now: float) -> None:
        player.move_wheel(value)
        self._out.follow(player, now)
        for member in player.members:
            self._out.follow(member, now)

    # -- the sound ---------------------------------------------------------------------------------------

    def _program_changed(self, player: KeyboardPlayer, program: int) -> None:
        """To the manager, and to members as well: those of a zone ignore it, others need it."""
        player.program = program
        if self._out.manager is not None:
            self._out.wear_program(self._out.manager, program)
        for channel in self._out.wearing(player):
            self._out.wear_program(channel, program)

    def _pressed(self, player: KeyboardPlayer, pressure: int, now: float) -> None:
        player.pressure = pressure
        if self._out.manager is not None and player.part is player:
            self._out.wear_pressure(self._out.manager, pressure)
            return
        for channel in self._out.wearing(player):
            if channel.sounds(now):
                self._out.wear_pressure(channel, pressure)

    def _key_pressed(self, player: KeyboardPlayer, key: int, pressure: int) -> None:
        """Pressure on one key: as channel pressure in a zone, where the standard forbids the other."""
        channel = self._out.where.get(player.number << 7 | key)
        if channel is None:
            return
        if self._out.manager is None:
            self._send(bytes((midi.KEY_PRESSURE | channel.nibble, key, pressure)))
        else:
            self._out.wear_pressure(channel, pressure)

    # -- controllers -------------------------------------------------------------------------------------

    def _control(self, player: KeyboardPlayer, controller: int, value: int, now: float) -> None:
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
                self._sustain_moved(player.pedals, value >= 64, now)
            elif controller == midi.SOSTENUTO:
                self._sostenuto_moved(player.pedals, value >= 64, now)
            player.controls[controller] = value
            if controller == TIMBRE and player.part is not player:  # of one note
                for channel in self._out.wearing(player):
                    self._out.wear_control(channel, controller, value)
                return
            self._pass_control(player, controller, value)
            if controller in BANK_SELECT and self._out.manager is not None:
                for channel in self._out.wearing(player):
                    self._out.wear_control(channel, controller, value)

    def _pass_control(self, player: KeyboardPlayer, controller: int, value: int) -> None:
        for channel in self._out.targets(player):
            channel.controls[controller] = value
        self._pass_data(player, controller, value)

    def _pass_data(self, player: KeyboardPlayer, controller: int, value: int) -> None:
        for channel in self._out.targets(player):
            self._send(bytes((midi.CONTROL | channel.nibble, controller, value)))

    def _pedals_of(self, voice: int) -> KeyboardPlayer:
        return self._players.all[voice >> 7].pedals

    def _sustain_moved(self, pedals: KeyboardPlayer, down: bool, now: float) -> None:
        pedals.sustain = down
        if down:
            return
        for channel, voice in self._out.voices():
            if self._pedals_of(voice) is pedals and not channel.voices[voice] & (HELD | CAUGHT):
                self._out.end(channel, voice, now)

    def _sostenuto_moved(self, pedals: KeyboardPlayer, down: bool, now: float) -> None:
        if down == pedals.sostenuto:
            return
        pedals.sostenuto = down
        for channel, voice in self._out.voices():
            if self._pedals_of(voice) is not pedals:
                continue
            if down:
                channel.voices[voice] |= CAUGHT
                continue
            channel.voices[voice] &= ~CAUGHT
            if not channel.voices[voice] & HELD and not pedals.sustain:
                self._out.end(channel, voice, now)

    def _plays(self, player: KeyboardPlayer, voice: int) -> bool:
        return self._players.all[voice >> 7] in (player, *player.members)

    def _all_notes_off(self, player: KeyboardPlayer, now: float) -> None:
        """Each held note gets its own note-off, on its own channel; pedals go on holding."""
        for channel, voice in self._out.voices():
            if self._plays(player, voice) and self._out.where.get(voice) is channel:
                self._out.lift(voice)
                self._let_go(player, voice, channel, now)
        if self._out.manager is None or not self.active_voices:
            self._pass_data(player, midi.ALL_NOTES_OFF, 0)

    def _sound_off(self, player: KeyboardPlayer, now: float) -> None:
        for channel, voice in self._out.voices():
            if self._plays(player, voice):
                self._out.lift(voice)
                self._out.end(channel, voice, now)
        off = [channel for channel in self._out.wearing(player) if not channel.voices]
        for channel in off:
            channel.silent_at = now
        if self._out.manager is not None and not self.active_voices:
            off.append(self._out.manager)
        for channel in off:
            self._send(bytes((midi.CONTROL | channel.nibble, midi.ALL_SOUND_OFF, 0)))

    def _reset_controllers(self, player: KeyboardPlayer, now: float) -> None:
        self._sustain_moved(player.pedals, False, now)
        self._sostenuto_moved(player.pedals, False, now)
        player.reset_controllers()
        manager = self._out.manager
        for channel in self._out.targets(player):
            channel.reset_controllers()
            self._send(bytes((midi.CONTROL | channel.nibble, midi.RESET_CONTROLLERS, 0)))
        for channel in self._out.played if manager is not None else self._out.wearing(player):
            channel.reset_controllers()
        for one in self._players.all if manager is not None else (player, *player.members):
            self._out.follow(one, now)

    def _parameter(self, player: KeyboardPlayer, controller: int, value: int, now: float) -> None:
        """Parameters of the player: his bend range is taken in; what would undo the rig is kept from it."""
        entry = player.reader.read(controller, value)
        if controller in (midi.NRPN_MSB, midi.NRPN_LSB):
            player.free_data = True
            self._pass_data(player, controller, value)
        elif controller in (midi.RPN_MSB, midi.RPN_LSB):
            player.free_data = False
        elif entry is None:
            if player.free_data:
                self._pass_data(player, controller, value)
        else:
            self._parameter_set(player, *entry, now)

    def _parameter_set(self, player: KeyboardPlayer, number: int, msb: int, lsb: int, now: float) -> None:
        out = self._out
        if number == midi.MPE_CONFIGURATION:
            if player.number in (0, 15):
                self._play_in_zone(player.number, min(msb, _WHOLE_ZONE), now)
        elif number == midi.BEND_RANGE:
            player.said_range = True
            player.set_range(msb + lsb / 100)
            out.take_range(player)
            self._wheel_moved(player, player.wheel, now)
        elif number in (midi.FINE_TUNING, midi.COARSE_TUNING) and not out.bends:
            player.tune(number, msb, lsb)
            out.follow(player, now)
        else:
            player.parameters[number] = (msb, lsb)
            for channel in out.targets(player):
                out.wear_parameter(channel, number, (msb, lsb))

    def _zone_found(self, seeker: ZoneSeeker, now: float) -> None:
        """The keyboard speaks MPE, as its notes show: what came before is sorted out."""
        players, out = self._players, self._out
        taken_for = tuple(players.on)
        self._play_in_zone(0, _WHOLE_ZONE, now, said=False)
        head = players.all[0]
        for player in players.all:
            seeker.tell(player)
            for key in seeker.keys[player.number]:
                if taken_for[player.number] is not player:
                    out.hand_over(key, taken_for[player.number], player)
        out.leave_to(head)
        if out.manager is not None:  # where they went while they were taken for a whole hand's
            out.wear_control(out.manager, TIMBRE, head.controls.get(TIMBRE, 64))
            out.wear_pressure(out.manager, head.pressure)
        for player in players.all:
            out.follow(player, now)

    def _play_in_zone(self, manager: int, members: int, now: float, said: bool = True) -> None:
        was_untouched = self._players.untouched
        for player in self._players.play_in_zone(manager, members, said):
            self._out.take_range(player)
            self._out.follow(player, now)
        for channel in (
            was_untouched - self._players.untouched
        ):  # notes-off for what sounds there come here now
            self._send(bytes((midi.CONTROL | channel, midi.ALL_NOTES_OFF, 0)))

    # -- system messages ---------------------------------------------------------------------------------

    def _system(self, message: bytes) -> None:
        self._send(message)
        if is_reset(message):
            self._players.rest()
            self.start_over()

    def start_over(self) -> None:
        """The receiver is back from nothing: its set-up is sent again, and what the players had set."""
        before, self._out = self._out, Channels(self._plan, self._send, self._rotate)
        self._out.clipped, self._out.waited = before.clipped, before.waited
        self._out.follower, self._out.others = before.follower, before.others
        if before.follower is not None:
            before.follower.forget()
        for message in self._plan.messages:
            self._send(message)
        for channel, was in zip(self._out.played, before.played, strict=True):
            if was.wearer is not None:
                self._out.dress(channel, was.wearer)
        if self._out.manager is not None:
            self._dress_manager(self._out.manager)

    def _dress_manager(self, manager: Channel) -> None:
        for player in self._players.all:
            if player.part is not player:
                continue
            for controller, value in player.controls.items():
                self._out.wear_control(manager, controller, value)
            if player.program is not None:
                self._out.wear_program(manager, player.program)
            for number, data in player.parameters.items():
                self._out.wear_parameter(manager, number, data)
            if player.pressure:
                self._out.wear_pressure(manager, player.pressure)
        pedals = self._players.all[0].pedals  # of all, whoever of them moved one last
        for pedal, down in ((midi.SUSTAIN, pedals.sustain), (midi.SOSTENUTO, pedals.sostenuto)):
            if down != (manager.controls.get(pedal, 0) >= 64):
                self._out.wear_control(manager, pedal, 127 if down else 0)


def is_reset(message: bytes) -> bool:
    """Whether a message puts a receiver back to its start: System Reset, General MIDI on or off."""
    general_midi = (
        len(message) == 6 and message[0] == midi.SYSEX and message[1] == 0x7E and message[3] == 0x09
    )
    return general_midi or message[0] == midi.RESET
