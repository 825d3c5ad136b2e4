"""A receiver heard note by note: how far it plays each key off equal by itself, in which steps it can be
moved, and what is left once that is taken back.

One use, by whoever has its sound and can send to it:

    hearing = ReceiverHearing(receiver, keys, 48000)
    player = ReceiverPlayer(send)
    for block in blocks:                            # mono, float64, of any size
        for each in hearing.feed(block):
            if isinstance(each, TuneReceiver):
                ...                                 # send all of each.plan.messages
            player.do(each, now)                    # HeardKey: to be shown
        if hearing.found is not None:               # HeardReceiver
            break

Three rounds, each with every key by itself: as it is; asked to move by another amount at each key, so that
its steps show; and with all that was found taken back. A note counts from when it is heard, however late it
comes.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, TypeVar

import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from tonegen.errors import BadValue
from tonegen.frozen import Frozen
from tonegen.keys import midi
from tonegen.keys.cable import Cable
from tonegen.keys.going import Going
from tonegen.keys.plan import Plan, plan
from tonegen.keys.receivers import BendPerClass, BendPerNote, KeyTuning, OctaveTuning, Osc, Receiver
from tonegen.keys.scale import KEYS, Scale
from tonegen.listen.clock import CardClock
from tonegen.listen.heard import HeardString, UnreadSound, heard, moved
from tonegen.listen.receiver import ReceiverSteps, receiver_steps
from tonegen.listen.spectrum import Expected
from tonegen.pitch import hz_from_key, note_name

Array = NDArray[np.float64]
Measured = TypeVar("Measured", bound=Receiver)

ROUNDS: Final = 3
_AFTER_SECONDS: Final = 0.25  # of its beginning, which each sound has its own of
_HEARD_SECONDS: Final = 1.3
_QUIET_SECONDS: Final = 0.3  # between two notes
_FLOOR_SECONDS: Final = 0.2
_LONGEST_RING_SECONDS: Final = 4.0  # after that the next note comes, whatever rings
_PATIENCE_SECONDS: Final = 3.0  # for a note to come
_OVER_FLOOR: Final = 30.0  # in power, of a note that begins
_QUIET: Final = 1e-3  # in power, of what a note was
_LEAST_POWER: Final = 1e-12
_MOST_SILENT: Final = 3  # keys at the beginning, then nobody listens at the right place
_VELOCITY: Final = 90
_PROBE_CENTS: Final = 45.0
_GOLDEN: Final = 0.6180339887498949  # multiples of it fill a range evenly, however many
_HARMONIC: Final = 1e-7  # B of a sound whose partials are exact multiples, as samplers loop them


@dataclass(frozen=True, slots=True)
class TuneReceiver(Frozen):
    """Send it this plan now, all of it; notes follow it from then on. number : of the round, from 1."""

    number: int
    plan: Plan


@dataclass(frozen=True, slots=True)
class PlayKey:
    """Strike this key now."""

    key: int


@dataclass(frozen=True, slots=True)
class ReleaseKey:
    """Let go of this key now."""

    key: int


@dataclass(frozen=True, slots=True)
class HeardKey:
    """What was heard of a key in a round. cents : off equal; None where it cannot be read, and why_not."""

    number: int
    key: int
    cents: float | None
    error_cents: float = 0.0
    why_not: str = ""


ToDo = TuneReceiver | PlayKey | ReleaseKey | HeardKey


@dataclass(frozen=True, slots=True)
class HeardReceiver(Frozen):
    """What a receiver does by itself, and what is left with that taken back; cents by key.

    own_cents : off equal, with error_cents. steps : in which it can be moved. receiver : the same with all
    that. left_cents : what it was off equal with it, and how sure that is, left_error_cents. why_not : of
    keys that cannot be read.
    """

    receiver: Receiver
    own_cents: dict[int, float]
    error_cents: dict[int, float]
    steps: ReceiverSteps
    left_cents: dict[int, float]
    left_error_cents: dict[int, float]
    why_not: dict[int, str]

    @property
    def fields(self) -> dict[str, float | str | dict[str, float]]:
        """What its file has of it."""
        receiver = self.receiver
        found: dict[str, float | str | dict[str, float]] = {
            "resolution_cents": receiver.resolution_cents,
            "rounding": receiver.rounding,
            "own_cents": dict(receiver.own_cents),
        }
        if isinstance(receiver, BendPerClass | BendPerNote):
            found["bend_scale"] = receiver.bend_scale
        return found


def check_plays(receiver: Receiver) -> None:
    """Raises BadValue for a receiver that is sent no notes."""
    if isinstance(receiver, Osc) and not receiver.retunes_notes:
        raise BadValue("it is sent no notes, so that it cannot be played from here; choose one that is")


class ReceiverHearing:
    """Hears a receiver out, block by block; opens no port and no device.

    found : what was found, once all rounds are over.
    """

    def __init__(
        self, receiver: Receiver, keys: Sequence[int], sample_rate: int, clock: CardClock | None = None
    ) -> None:
        """Nothing is sent yet. clock : of the card that its sound comes in by.

        Raises BadValue for a receiver that is sent no notes, or without keys.
        """
        check_plays(receiver)
        if not keys:
            raise BadValue("no keys to play; give some, such as C3-C5")
        self.keys = tuple(dict.fromkeys(keys))
        self.found: HeardReceiver | None = None
        self._receiver = receiver
        # What its file says of it is found anew.
        self._bare = _with(receiver, {}, 0.0, "nearest", 1.0)
        self._rate = sample_rate
        self._clock = clock or CardClock()
        self._round, self._place = 0, 0
        self._expected: dict[int, Expected] = {}
        self._sounds: dict[int, Array] = {}
        self._own: dict[int, tuple[float, float]] = {}
        self._moved: dict[int, tuple[float, float]] = {}
        self._why_not: dict[int, str] = {}
        self._measured: tuple[Receiver, ReceiverSteps] | None = None
        self._silent = 0
        self._plan: Plan | None = None
        self._note = _HeardNote(sample_rate)

    @property
    def done(self) -> int:
        """How many notes of all rounds are over."""
        return max(self._round - 1, 0) * len(self.keys) + self._place

    def feed(self, block: Array) -> tuple[ToDo, ...]:
        """Take the next block, shape (frames,), mono. Returns what is to be done now, in this order.

        Raises UnreadSound where nothing is heard, or too little can be read.
        """
        if self.found is not None:
            return ()
        if self._plan is None:
            return (self._tune(),)
        key = self.keys[self._place]
        match self._note.feed(block):
            case "play":
                return (PlayKey(key),)
            case "release":
                return (ReleaseKey(key),)
            case "silent":
                return (ReleaseKey(key), self._heard(key, None), *self._next())
            case "over":
                return (self._heard(key, self._note.sound), *self._next())
        return ()

    def _tune(self) -> TuneReceiver:
        self._round += 1
        asked, receiver = 0.0, self._bare
        if self._round == 2:
            asked = _PROBE_CENTS
        elif self._round == ROUNDS:
            receiver, _ = self._measured = self._take_back()
        classes = asked * _evenly(12)
        scale = Scale(
            "equal",
            np.resize(classes, KEYS) if receiver.per == "class" else asked * _evenly(KEYS),
            classes,
            self._receiver.reference_hz,
            heard_keys=tuple(sorted(self.keys)),
        )
        self._plan = plan(scale, receiver)
        self._note = _HeardNote(self._rate)
        return TuneReceiver(self._round, self._plan)

    def _next(self) -> tuple[ToDo, ...]:
        self._place += 1
        self._note.begin()
        if self._place < len(self.keys):
            return ()
        if len(self._own) <= len(self.keys) // 2:
            first = next(iter(self._why_not.values()))
            raise UnreadSound(
                f"{len(self._why_not)} of {len(self.keys)} keys cannot be read, the first: {first}; choose a "
                "plain sound that lasts, without chorus, vibrato and reverb"
            )
        if self._round == ROUNDS:
            self.found = self._outcome()
            return ()
        self._place = 0
        return (self._tune(),)

    def _heard(self, key: int, sound: Array | None) -> HeardKey:
        if sound is None:
            self._silent += 1
            if self._silent >= _MOST_SILENT and not self._own:
                raise UnreadSound(
                    "nothing heard; is the right input chosen, is the receiver's port the right one, and is "
                    "it turned up?"
                )
            return self._unread(key, "nothing heard")
        try:
            cents, error = self._first(key, sound) if self._round == 1 else self._again(key, sound)
        except UnreadSound as why:
            return self._unread(key, str(why))
        return HeardKey(self._round, key, cents, error)

    def _unread(self, key: int, why: str) -> HeardKey:
        if self._round == 1:
            self._why_not[key] = why
        return HeardKey(self._round, key, None, why_not=why)

    def _first(self, key: int, sound: Array) -> tuple[float, float]:
        found = _read(sound, self._rate, key, self._receiver.reference_hz)
        self._expected[key], self._sounds[key] = found.expected, sound
        error = float(np.hypot(found.error_cents, self._clock.error_cents))
        self._own[key] = found.cents + self._clock.cents, error
        return self._own[key]

    def _again(self, key: int, sound: Array) -> tuple[float, float]:
        """The key compared with itself as it was in the first round."""
        if key not in self._own:
            raise UnreadSound(self._why_not[key])
        own, unsure = self._own[key]
        by, error = moved(self._sounds[key], sound, self._rate, self._expected[key])
        self._moved[key] = by, error
        # Where it then stands is no surer than where it was at first.
        return own + by, float(np.hypot(unsure, error))

    def _take_back(self) -> tuple[Receiver, ReceiverSteps]:
        """The receiver with what was found of it in two rounds."""
        assert self._plan is not None
        keys = sorted(self._moved)
        asked = np.array([self._plan.sent_cents[key] for key in keys])
        by, errors = np.array([self._moved[key] for key in keys]).reshape(-1, 2).T
        steps = receiver_steps(asked, by, errors, isinstance(self._bare, BendPerClass | BendPerNote))
        own = {str(key): round(self._own[key][0], 3) for key in sorted(self._own)}
        self._moved = {}
        scale = round(steps.scale, 4)
        return _with(self._receiver, own, steps.step_cents, steps.rounding, scale), steps

    def _outcome(self) -> HeardReceiver:
        assert self._measured is not None
        receiver, steps = self._measured
        own = {key: cents for key, (cents, _) in self._own.items()}
        return HeardReceiver(
            receiver, own, {key: error for key, (_, error) in self._own.items()}, steps,
            {key: own[key] + by for key, (by, _) in self._moved.items()},
            {key: float(np.hypot(self._own[key][1], error)) for key, (_, error) in self._moved.items()},
            dict(self._why_not),
        )  # fmt: skip


class ReceiverPlayer:
    """Strikes keys of a receiver, each by the channel and with the bend that its plan has for it."""

    def __init__(self, send: Callable[[bytes], object]) -> None:
        """Nothing sounds. The messages of each plan are the caller's to send, before `do` is told of it."""
        self._cable = Cable(send)
        self._going: Going | None = None
        self._channel = 0

    def do(self, each: ToDo, now: float) -> None:
        """Do what is to be done, at `now` in seconds of any steady clock; what was heard is none of it."""
        if isinstance(each, TuneReceiver):
            self._going = Going(each.plan, self._cable)
            self._channel = _channel(each.plan.receiver)
        elif isinstance(each, PlayKey):
            self._receive(bytes((midi.NOTE_ON | self._channel, each.key, _VELOCITY)), now)
        elif isinstance(each, ReleaseKey):
            self._receive(bytes((midi.NOTE_OFF | self._channel, each.key, 0)), now)

    def _receive(self, message: bytes, now: float) -> None:
        assert self._going is not None
        self._going.receive(message, now)


def _channel(receiver: Receiver) -> int:
    """One on which its notes are taken for tuned ones, as a nibble."""
    if isinstance(receiver, KeyTuning | OctaveTuning):
        return receiver.midi_channels[0] - 1
    untouched = () if isinstance(receiver, Osc) else receiver.untouched
    return next(channel for channel in range(16) if channel + 1 not in untouched)


class _HeardNote:
    """One note after the other as its sound comes in: quiet, struck, heard, over."""

    def __init__(self, sample_rate: int) -> None:
        self._rate = sample_rate
        self.sound = np.zeros(0)
        self._peak = 0.0
        self.begin()

    def begin(self) -> None:
        """Wait for quiet, before the next."""
        self._state = "quiet"
        self._frames = 0  # in this state
        self._quiet = 0
        self._powers: list[tuple[float, int]] = []
        self._kept: list[Array] = []

    def feed(self, block: Array) -> str:
        """What is to be done now, or has come of it: play, release, over, silent; mostly nothing."""
        self._frames += len(block)
        if self._state == "quiet":
            return self._wait(block)
        if self._state == "struck":
            return self._struck(block)
        self._kept.append(block)
        if self._frames < (_AFTER_SECONDS + _HEARD_SECONDS) * self._rate:
            return ""
        if self._state == "rings":
            self._state = "released"
            first = round(_AFTER_SECONDS * self._rate)
            whole = np.concatenate(self._kept)
            self.sound = whole[first : first + round(_HEARD_SECONDS * self._rate)]
            self._peak = float(np.mean(self.sound**2))
            self._kept = []
            return "release"
        return "over"

    def _wait(self, block: Array) -> str:
        power = float(np.mean(block**2)) if len(block) else 0.0
        self._powers.append((power, len(block)))
        self._quiet = self._quiet + len(block) if power <= _QUIET * self._peak + _LEAST_POWER else 0
        # Before anything was heard there is no telling what quiet is.
        enough = self._quiet if self._peak else self._frames
        if enough < _QUIET_SECONDS * self._rate and self._frames < _LONGEST_RING_SECONDS * self._rate:
            return ""
        frames, late = 0, []
        for each, count in reversed(self._powers):
            late.append(each)
            frames += count
            if frames >= _FLOOR_SECONDS * self._rate:
                break
        self._begins = _OVER_FLOOR * (float(np.mean(late)) + _LEAST_POWER)
        self._state, self._frames = "struck", 0
        return "play"

    def _struck(self, block: Array) -> str:
        if len(block) and float(np.mean(block**2)) > self._begins:
            loud = np.abs(block)
            at = int(np.argmax(loud > 0.25 * loud.max()))
            self._state, self._kept = "rings", [block[at:]]
            self._frames = len(block) - at
        elif self._frames > _PATIENCE_SECONDS * self._rate:
            return "silent"
        return ""


def _with(receiver: Measured, own: dict[str, float], step: float, rounding: str, scale: float) -> Measured:
    bends = {"bend_scale": scale} if isinstance(receiver, BendPerClass | BendPerNote) else {}
    found: Measured = replace(receiver, own_cents=own, resolution_cents=step, rounding=rounding, **bends)
    return found


def _evenly(count: int) -> Array:
    """So many numbers from -1 to 1, no two alike, and neighbours far apart."""
    return np.asarray(np.mod(_GOLDEN * (np.arange(count) + 1), 1) * 2 - 1)


def _read(sound: Array, sample_rate: int, key: int, reference_hz: float) -> HeardString:
    """The key's pitch, by whichever law its partials follow; it may sound an octave off, as organs do."""
    found: HeardString | None = None
    why_not: UnreadSound | None = None
    for octave in (1.0, 2.0, 0.5):
        hz = float(hz_from_key(key, 0.0, reference_hz)) * octave
        for stiffness in (_HARMONIC, None):
            try:
                each = heard(sound, sample_rate, [Expected(key, note_name(key), hz, stiffness)])
            except UnreadSound as why:
                why_not = why_not or why
            else:
                if found is None or each.error_cents < found.error_cents:
                    found = each
        if found is not None:
            return found
    assert why_not is not None
    raise why_not
