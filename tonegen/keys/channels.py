"""What goes out: the channels of a receiver, how each is tuned, whose sound it has, and what sounds on it.

A voice is a note that a key or a pedal holds, by its player and key (`player << 7 | key`). A *tune* is an
offset as the receiver will make it: notes of one tune may share a channel without a difference that it could
make. What a player's channel sounds like (program, controllers, parameters) follows its notes to the channels
that they take; a channel "wears" it. Channels are nibbles, 0 to 15, as in the bytes.
"""

from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, Final

import numpy as np

from tonegen.keys import midi
from tonegen.keys.plan import Plan
from tonegen.keys.players import CENTRE, SURVIVE_RESET, TIMBRE, KeyboardPlayer
from tonegen.keys.receivers import BendPerClass, BendPerNote, TuningPerClass

if TYPE_CHECKING:
    from tonegen.keys.chords import ChordFollower

Retuned = BendPerClass | BendPerNote | TuningPerClass

HELD: Final = 1  # the key is down
CAUGHT: Final = 2  # by the sostenuto pedal
_FLAG_BITS: Final = 2
_TUNES_PER_CENT: Final = 1e6  # what is told apart; far finer than any receiver
# How long a released note may ring where the receiver's file does not say (common practice, no source).
_USUAL_RELEASE_SECONDS: Final = 2.0
BANK_SELECT: Final = (midi.BANK_MSB, midi.BANK_LSB)
# What a controller goes back to when a channel changes hands; 0 for those not named (General MIDI 2).
_AT_REST: Final = {7: 100, 8: 64, 10: 64, 11: 127, **dict.fromkeys(range(70, 80), 64)}
# The same for registered parameters, MSB and LSB (General MIDI 2; CA-026 for the modulation depth).
_PARAMETER_AT_REST: Final = {
    midi.BEND_RANGE: (midi.USUAL_BEND_RANGE_SEMITONES, 0),
    midi.FINE_TUNING: (64, 0),
    midi.COARSE_TUNING: (64, 0),
    5: (0, 64),
}
_COARSEST_CENTS: Final = 6300.0  # of channel tuning, each way


class Channel:
    """One channel that goes out."""

    __slots__ = (
        "aim", "bent", "controls", "nibble", "parameters", "pressure", "program", "silent_at", "tune",
        "tuned_cents", "unused_since", "voices", "wearer",
    )  # fmt: skip

    def __init__(self, nibble: int) -> None:
        """Silent, as the set-up leaves it."""
        self.nibble = nibble
        self.voices: dict[int, int] = {}  # voice -> its place in the order of striking << 2 | flags
        self.tune: int | None = None
        self.aim = 0.0  # steps of the bend, or cents of the channel's tuning
        self.bent = CENTRE  # the bend that it was sent last; below 0 where that is not known
        self.tuned_cents = 0.0  # the channel tuning that it was sent last
        self.silent_at = self.unused_since = float("-inf")
        self.wearer: KeyboardPlayer | None = None
        self.program: int | None = None
        self.controls: dict[int, int] = {}
        self.parameters: dict[int, tuple[int, int]] = {}
        self.pressure = 0

    def sounds(self, now: float) -> bool:
        """Whether anything is held on it, or may still ring."""
        return bool(self.voices) or self.silent_at > now

    def reset_controllers(self) -> None:
        """What "reset all controllers" did to it (RP-015); its bend is at the centre."""
        self.controls = {cc: value for cc, value in self.controls.items() if cc in SURVIVE_RESET}
        self.pressure = 0
        self.bent = -1


class Channels:
    """The receiver's channels, from its set-up on.

    rotate : notes take any channel; otherwise each pitch class goes to its own where that can be.
    clipped : bends that the range could not hold. waited : notes in an older tune, since no channel was free.
    """

    def __init__(self, plan: Plan, send: Callable[[bytes], object], rotate: bool) -> None:
        """All silent; the set-up (`plan.messages`) has been sent."""
        receiver = plan.receiver
        assert isinstance(receiver, Retuned)
        self._send = send
        self.bends: Final = not isinstance(receiver, TuningPerClass)
        self._rotate = rotate
        self._wheel_scale = self._aim_scale = 1.0
        if isinstance(receiver, BendPerClass | BendPerNote):
            self._aim_scale = 1 / midi.bend_steps(receiver.bend_range_semitones).step_cents
            self._wheel_scale = self._aim_scale / receiver.bend_scale
        played = receiver.played if isinstance(receiver, BendPerNote) else receiver.channels
        self.played: Final = tuple(Channel(channel - 1) for channel in played)
        manager = receiver.manager if isinstance(receiver, BendPerNote) else None
        self.manager: Final = None if manager is None else Channel(manager - 1)
        self._homes: tuple[Channel | None, ...] = (None,) * 12 if rotate else self.played
        self._release_seconds: float = getattr(receiver, "release_seconds", _USUAL_RELEASE_SECONDS)
        self.follower: ChordFollower | None = None  # knows each note by its place in the order of striking
        self.others: tuple[tuple[int, float], ...] = ()  # key and offset of tones that lead the follower
        self._in_chord: dict[int, tuple[Channel, int]] = {}  # by the same, where it sounds and its key
        self.where: dict[int, Channel] = {}  # of each voice whose key is down
        self.clipped = self.waited = 0
        self._struck = 0
        self.retune(plan)
        if not isinstance(receiver, BendPerNote):  # its set-up has tuned each channel for its pitch class
            for pitch_class, channel in enumerate(self.played):
                channel.aim, channel.tune = self._aims[pitch_class], self._tunes[pitch_class]
                if self.bends:
                    channel.bent = self._bend_value(channel, 0.0)
                else:
                    channel.tuned_cents = channel.aim

    def retune(self, plan: Plan) -> None:
        """Have the next notes in another temperament."""
        self._plan = plan
        self._aims: list[float] = (plan.aim_cents * self._aim_scale).tolist()
        self._tunes: list[int] = np.rint(plan.sent_cents * _TUNES_PER_CENT).astype(np.int64).tolist()
        self._all_tunes = frozenset(self._tunes)
        equal_aims = plan.aims_of_equal * self._aim_scale
        self._aims_of_equal: list[float] = equal_aims.tolist()
        self._aim_of_a_cent = plan.aim_of_a_cent * self._aim_scale
        # of a key that is alone on its channel: its own octave's, not its pitch class's
        own = equal_aims + self._aim_of_a_cent * plan.scale.key_cents
        self._own_aims: list[float] = own.tolist()
        if self.follower is not None:
            self.follower.retune(plan.scale.key_cents.tolist())

    def tune_key(self, key: int, cents: float) -> None:
        """Have the next notes of one key at this offset, whatever the temperament."""
        self._aims[key], self._tunes[key] = self._aim_and_tune(key, cents)
        self._own_aims[key] = self._aims[key]

    def _aim_and_tune(self, key: int, cents: float) -> tuple[float, int]:
        return self._aims_of_equal[key] + cents * self._aim_of_a_cent, round(cents * _TUNES_PER_CENT)

    def _move(self, moved: Mapping[int, float]) -> None:
        """Bring notes that have just begun, each alone on its channel, to the chord that they are in."""
        for struck, cents in moved.items():
            if there := self._in_chord.get(struck):  # or it gave way meanwhile
                channel, key = there
                assert channel.wearer is not None
                channel.aim, channel.tune = self._aim_and_tune(key, cents)
                self._follow(channel, channel.wearer)

    def _leave_the_chord(self, struck: int, now: float) -> None:
        """A note ended, whichever it is."""
        if self.follower is not None:
            self.follower.release(struck, now)
            self._in_chord.pop(struck, None)

    def glide(self, now: float) -> float | None:
        """Have held notes glide a step where they are to; when to ask again, None at rest."""
        if self.follower is None or self.follower.glides_at is None:
            return None
        if moved := self.follower.glide(now, self.others):
            self._move(moved)
        return self.follower.glides_at

    # -- notes -------------------------------------------------------------------------------------------

    @property
    def active_voices(self) -> int:
        """Notes that sound because a key or a pedal holds them."""
        return sum(len(channel.voices) for channel in self.played)

    def voices(self) -> Iterator[tuple[Channel, int]]:
        """All of them, each with its channel; they may be ended during the loop."""
        return ((channel, voice) for channel in self.played for voice in tuple(channel.voices))

    def strike(self, player: KeyboardPlayer, key: int, velocity: int, now: float) -> None:
        """Sound a note on the channel that suits it, once that has its tune, its wheel and its sound."""
        voice = player.number << 7 | key
        if self.played[0].wearer is None:
            self._all_wear(player)
        moved = {}
        if self.follower is not None:
            if self._rotate and self._must_steal(key):
                self._steal(now)  # before, so that it has no say in where the new note stands
            moved = self.follower.strike(((self._struck + 1, key),), now, self.others)
            self.tune_key(key, moved.pop(self._struck + 1))
        channel = self._choose(player, voice, now)
        if self.follower is not None:
            if channel.voices:
                self.follower.join(self._struck + 1, next(iter(channel.voices.values())) >> _FLAG_BITS)
            elif channel.silent_at > now:  # what rings on it would move along
                self.follower.hold(self._struck + 1)
            self._move(moved)
            if voice in channel.voices:
                self._leave_the_chord(channel.voices[voice] >> _FLAG_BITS, now)
        if channel.wearer is not player:
            self.dress(channel, player)
        if not (channel.voices or (channel.silent_at > now and channel.tune == self._tunes[key])):
            channel.aim, channel.tune = self._own_aims[key], self._tunes[key]
        self._bring_to_tune(channel, player)
        by_note = self.manager is None or player.part is not player
        pressure = player.pressure if by_note else 0
        if channel.pressure != pressure:
            self.wear_pressure(channel, pressure)
        self._send(bytes((midi.NOTE_ON | channel.nibble, key, velocity)))
        self._struck += 1
        if self.follower is not None:
            self._in_chord[self._struck] = channel, key
        channel.voices[voice] = self._struck << _FLAG_BITS | HELD | channel.voices.get(voice, 0) & CAUGHT
        self.where[voice] = channel

    def lift(self, voice: int, velocity: int = 64) -> Channel | None:
        """The key of a voice comes up; its channel, or None where it holds no note any more."""
        channel = self.where.pop(voice, None)
        if channel is not None:
            self._send(bytes((midi.NOTE_OFF | channel.nibble, voice & 0x7F, velocity)))
            channel.voices[voice] &= ~HELD
        return channel

    def end(self, channel: Channel, voice: int, now: float) -> None:
        """Nothing holds this voice any more; it may ring."""
        self._leave_the_chord(channel.voices.pop(voice) >> _FLAG_BITS, now)
        if not channel.voices:
            channel.unused_since = now
            channel.silent_at = now + self._release_seconds

    def silence(self, channel: Channel, now: float) -> None:
        """Have nothing sound on a channel, not even a ring."""
        for voice in tuple(channel.voices):
            if self.where.get(voice) is channel:  # its key may be down again, on another
                self.lift(voice)
            self._leave_the_chord(channel.voices[voice] >> _FLAG_BITS, now)
        channel.voices.clear()
        channel.unused_since = channel.silent_at = now

    def _choose(self, player: KeyboardPlayer, voice: int, now: float) -> Channel:
        """The channel for a new note.

        In order: where this very note still sounds in the same tune; the pitch class's own; free, longest
        unused; ringing in the same tune; shared in the same tune; ringing in another, nearest its end. Notes
        share while there are no more free channels than tunes that may yet need one. Where nothing is left a
        note waits for the new tune if its channels are fixed, and another gives way if they are not.
        """
        tune = self._tunes[voice & 0x7F]
        free = alike = shared = ringing = None
        spare = 0
        for channel in self.played:
            same = channel.tune == tune and channel.wearer is player
            if channel.voices:
                if same:
                    if voice in channel.voices:
                        return channel
                    shared = shared or channel
            elif channel.silent_at <= now:
                spare += 1
                if free is None or channel.unused_since < free.unused_since:
                    free = channel
            elif same:
                alike = channel
            elif ringing is None or channel.silent_at < ringing.silent_at:
                ringing = channel
        together = alike or shared
        home = self._homes[(voice & 0x7F) % 12]
        if home is not None and home.wearer is player:
            if home.tune == tune or not home.sounds(now):
                return home
            return together or free or ringing or self._waiting(player, voice)
        if free is not None and together is not None and spare <= self._tunes_to_come(now):
            return together
        return free or together or ringing or self._steal(now)

    def _tunes_to_come(self, now: float) -> int:
        """How many tunes of the temperament no channel has that sounds."""
        return len(self._all_tunes.difference(one.tune for one in self.played if one.sounds(now)))

    def _waiting(self, player: KeyboardPlayer, voice: int) -> Channel:
        """The player's channel of the tune nearest to the one that the note would have."""
        self.waited += 1
        aim = self._aims[voice & 0x7F]
        return min(
            (channel for channel in self.played if channel.wearer is player),
            key=lambda channel: abs(channel.aim - aim),
        )

    def _must_steal(self, key: int) -> bool:
        """Whether a note that follows the chord will find no channel, nor one of its class to share."""
        assert self.follower is not None
        return len(self.follower) >= len(self.played) and not any(
            not channel.voices or any(not ((voice & 0x7F) - key) % 12 for voice in channel.voices)
            for channel in self.played
        )

    def _steal(self, now: float) -> Channel:
        """End the oldest note, those that only a pedal holds first; the lowest only where it is alone."""
        lowest = min(self.played, key=lambda channel: min(voice & 0x7F for voice in channel.voices))
        others = [channel for channel in self.played if channel is not lowest] or [lowest]
        channel = min(others, key=lambda one: (_has_key_down(one), min(one.voices.values())))
        pedals = channel.wearer.pedals if channel.wearer else None
        goes_on = self._release_seconds > 0 or (pedals is not None and pedals.sustain)
        goes_on |= any(flags & CAUGHT for flags in channel.voices.values())
        self.silence(channel, now)
        if goes_on:  # its ring, or a pedal, would sound on in the new note's tune
            self._send(bytes((midi.CONTROL | channel.nibble, midi.ALL_SOUND_OFF, 0)))
        return channel

    # -- the tune of a channel ---------------------------------------------------------------------------

    def _bend_value(self, channel: Channel, wheel_cents: float) -> int:
        value = int(channel.aim + wheel_cents * self._wheel_scale + (CENTRE + 0.5))
        if 0 <= value <= 16383:
            return value
        self.clipped += 1
        return 0 if value < 0 else 16383

    def _bring_to_tune(self, channel: Channel, player: KeyboardPlayer) -> None:
        """Before a note: its bend always where channels change hands, as MPE has it (2.4)."""
        if self.bends and self._rotate:
            self._bend(channel, self._bend_value(channel, player.wheel_cents))
        else:
            self._follow(channel, player)

    def follow(self, player: KeyboardPlayer, now: float) -> None:
        """Bring what sounds of a player to his wheel and tuning; all else follows before its next note."""
        for channel in self.wearing(player):
            if channel.wearer is player and channel.sounds(now):
                self._follow(channel, player)

    def _follow(self, channel: Channel, player: KeyboardPlayer) -> None:
        if self.bends:
            value = self._bend_value(channel, player.wheel_cents)
        else:
            value = player.wheel
            cents = min(max(channel.aim + player.tuning_cents, -_COARSEST_CENTS), _COARSEST_CENTS)
            if channel.tuned_cents != cents:
                channel.tuned_cents = cents
                for message in midi.channel_tuning(channel.nibble + 1, cents).messages:
                    self._send(message)
        if value != channel.bent:
            self._bend(channel, value)

    def _bend(self, channel: Channel, value: int) -> None:
        channel.bent = value
        self._send(bytes((midi.BEND | channel.nibble, value & 0x7F, value >> 7)))

    # -- the sound of a channel --------------------------------------------------------------------------

    def wearing(self, player: KeyboardPlayer) -> list[Channel]:
        """The channels that have this player's sound; all, when he is the first to be heard of.

        Most often he is the only one, so that his sound goes to all channels as it comes.
        """
        if self.played[0].wearer is None:
            self._all_wear(player)
        return [one for one in self.played if one.wearer and player in (one.wearer, one.wearer.part)]

    def _all_wear(self, player: KeyboardPlayer) -> None:
        for channel in self.played:
            channel.wearer = player

    def hand_over(self, key: int, before: KeyboardPlayer, player: KeyboardPlayer) -> None:
        """A note whose key is down turns out to be another player's; so is its channel now."""
        channel = self.where.pop(before.number << 7 | key, None)
        if channel is not None:
            voice = player.number << 7 | key
            channel.voices[voice] = channel.voices.pop(before.number << 7 | key)
            channel.wearer, self.where[voice] = player, channel

    def leave_to(self, player: KeyboardPlayer) -> None:
        """Channels without a note have this player's sound, until another takes them."""
        for channel in self.played:
            if not channel.voices:
                channel.wearer = player

    def targets(self, player: KeyboardPlayer) -> list[Channel]:
        """Where a player's controllers go: the manager, or the channels that wear his sound."""
        return self.wearing(player) if self.manager is None else [self.manager]

    def dress(self, channel: Channel, player: KeyboardPlayer) -> None:
        """Give a channel the sound of another player: bank and program, controllers and parameters."""
        channel.wearer = player
        part, worn = player.part, channel.controls
        wanted = part.controls
        if part is not player and TIMBRE in player.controls:
            wanted = {**wanted, TIMBRE: player.controls[TIMBRE]}
        kept = tuple(dict.fromkeys((*wanted, *worn)))
        if self.manager is not None:
            kept = (*BANK_SELECT, *((TIMBRE,) if part is not player else ()))
        bank_moved = False
        for controller in kept:
            value = wanted.get(controller, _AT_REST.get(controller, 0))
            if controller in worn or controller in wanted:
                bank_moved |= self.wear_control(channel, controller, value) and controller in BANK_SELECT
        program = part.program
        if program is None and channel.program is not None:
            program = 0
        if program is not None and (bank_moved or program != channel.program):
            self.wear_program(channel, program)
        if self.manager is None:
            parameters = self._parameters_of(player)
            for number in dict.fromkeys((*parameters, *channel.parameters)):
                data = parameters.get(number, _PARAMETER_AT_REST.get(number, (0, 0)))
                if data != channel.parameters.get(number):
                    self.wear_parameter(channel, number, data)

    def _parameters_of(self, player: KeyboardPlayer) -> dict[int, tuple[int, int]]:
        parameters = player.part.parameters
        if not self.bends and player.said_range:
            return {**parameters, midi.BEND_RANGE: player.bend_range}
        return parameters

    def take_range(self, player: KeyboardPlayer) -> None:
        """A bend range was said: it goes where the wheel goes through as it is."""
        if not self.bends:
            for channel in self.wearing(player):
                if channel.wearer is player:
                    self.wear_parameter(channel, midi.BEND_RANGE, player.bend_range)

    def wear_control(self, channel: Channel, controller: int, value: int) -> bool:
        """Set a controller of a channel; whether it stood elsewhere."""
        if channel.controls.get(controller) == value:
            return False
        channel.controls[controller] = value
        self._send(bytes((midi.CONTROL | channel.nibble, controller, value)))
        return True

    def wear_program(self, channel: Channel, program: int) -> None:
        """Set the program of a channel, also where it has it: its bank may be another now."""
        channel.program = program
        self._send(bytes((midi.PROGRAM | channel.nibble, program)))

    def wear_parameter(self, channel: Channel, number: int, data: tuple[int, int]) -> None:
        """Set a registered parameter of a channel."""
        channel.parameters[number] = data
        for message in midi.parameter(channel.nibble + 1, number, *data):
            self._send(message)

    def wear_pressure(self, channel: Channel, pressure: int) -> None:
        """Press a channel."""
        channel.pressure = pressure
        self._send(bytes((midi.PRESSURE | channel.nibble, pressure)))


def _has_key_down(channel: Channel) -> bool:
    return any(flags & HELD for flags in channel.voices.values())
