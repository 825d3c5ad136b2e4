"""What a receiver will be sent, how that is taken back, and what its resolution leaves: data first.

A plan is complete before the first byte goes out. Ports, files, OSC and the screen all take the same plan.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Final, Protocol

import numpy as np
from numpy.typing import NDArray

from tonegen.errors import BadValue
from tonegen.frozen import Frozen
from tonegen.keys import midi, osc
from tonegen.keys.receivers import (
    BendPerClass,
    BendPerNote,
    KeyTuning,
    OctaveTuning,
    Osc,
    Receiver,
    TuningPerClass,
)
from tonegen.keys.scale import KEYS, Scale, scale_of_classes
from tonegen.pitch import cents_between, hz_from_key, note_name, pitch_class_name

_CLASS_OF_KEY: Final = np.arange(KEYS) % 12
_ON_A_STEP: Final = 1e-9  # what stands on a step of the receiver is not cut down to the one below


class Door(Protocol):
    """Where messages leave the program: a MIDI port, an OSC address, a file, or a list in a test."""

    seconds_per_byte: float  # how long the way takes; tables are sent no faster

    def send(self, message: bytes) -> object:
        """Hand one message over."""

    def is_there(self, thorough: bool = False) -> bool:
        """Whether whoever listens is still there, as far as can be known.

        thorough : find out as well whether the system behind the door has ended; it costs others a moment.
        """

    def reconnect(self) -> bool:
        """Try to find the listener again; whether it is there."""

    def close(self) -> None:
        """Let go of it."""


@dataclass(frozen=True, slots=True)
class Left:
    """What the worst key is left with: cents, and beats a second against the instrument in unison."""

    cents: float
    beats_per_second: float


@dataclass(frozen=True, slots=True)
class Plan(Frozen):
    """What will be sent, how to take it back, and what every key gets.

    set_up : ranges, zones and selections, sent once. tuning : the offsets themselves, sent again when they
        change; nothing where each note brings its own.
    aim_cents : what a message for each key is asked to hold, from the receiver's own equal temperament and
        with its habits compensated; what plays notes one by one encodes these.
    aims_of_equal, aim_of_a_cent : the same for an offset of 0, and how much more it is for each cent.
    sent_cents : the offset that each key will have, from equal temperament at the scale's reference.
    """

    receiver: Receiver
    scale: Scale
    set_up: tuple[bytes, ...]
    tuning: tuple[bytes, ...]
    aim_cents: NDArray[np.float64]
    aims_of_equal: NDArray[np.float64]
    aim_of_a_cent: float
    sent_cents: NDArray[np.float64]

    @property
    def messages(self) -> tuple[bytes, ...]:
        """Set-up and tuning, in order."""
        return self.set_up + self.tuning

    @property
    def undo(self) -> tuple[bytes, ...]:
        """Back to equal temperament, notes off; the same whatever the tuning is."""
        return undo_of(self.receiver)

    @property
    def per_class(self) -> bool:
        """Whether the receiver has an offset for each pitch class, rather than for each key."""
        return _per_class(self.receiver)

    def changes_from(self, before: "Plan") -> tuple[bytes, ...]:
        """What of the tuning is to be sent to a receiver that was sent the tuning of `before`."""
        receiver = self.receiver
        if isinstance(receiver, KeyTuning):
            pairs = zip(midi.key_words(self.aim_cents), midi.key_words(before.aim_cents), strict=True)
            keys = [key for key, (now, then) in enumerate(pairs) if now != then]
            if receiver.message == "dump":
                return self.tuning if keys else ()
            return midi.note_changes(keys, self.aim_cents[keys], receiver.program, receiver.bank).messages
        parts = 12 if isinstance(receiver, TuningPerClass) else len(self.tuning)
        size = len(self.tuning) // parts if parts else 1  # messages of one channel, class or key
        return tuple(
            message
            for start in range(0, len(self.tuning), size)
            if self.tuning[start : start + size] != before.tuning[start : start + size]
            for message in self.tuning[start : start + size]
        )

    def aim_of(self, key: int, cents: float) -> float:
        """What a message is asked to hold for another offset of a key, see `aim_cents`."""
        return float(self.aims_of_equal[key]) + cents * self.aim_of_a_cent

    def check_reach(self, most_cents: float) -> None:
        """Raise BadValue where the receiver cannot hold every offset moved so far up or down."""
        scale = self.scale
        for moved in (most_cents, -most_cents):
            plan(
                replace(scale, key_cents=scale.key_cents + moved, class_cents=scale.class_cents + moved),
                self.receiver,
            )

    @property
    def left_cents(self) -> NDArray[np.float64]:
        """Wanted minus sent, of each key."""
        return self.scale.key_cents - self.sent_cents

    @property
    def hz(self) -> NDArray[np.float64]:
        """The frequency that each key will sound."""
        return hz_from_key(np.arange(KEYS), self.sent_cents, self.scale.reference_hz)

    @property
    def beats_left(self) -> NDArray[np.float64]:
        """Beats a second of each key against the same note of the instrument, in unison; sharp positive."""
        return self.hz - self.scale.hz

    @property
    def worst_left(self) -> Left:
        """The worst among the keys that the instrument has, or a piano's."""
        heard = list(self.scale.heard_keys)
        cents, beats = self.left_cents[heard], self.beats_left[heard]
        return Left(float(cents[np.abs(cents).argmax()]), float(np.abs(beats).max()))


def plan(scale: Scale, receiver: Receiver) -> Plan:
    """The plan that brings `receiver` to `scale`.

    Raises BadValue when the receiver's means cannot hold an offset, naming the note and what to change.
    """
    cents = scale.class_cents[_CLASS_OF_KEY] if _per_class(receiver) else scale.key_cents
    shift = float(cents_between(receiver.reference_hz, scale.reference_hz))
    equal = shift - _own_cents_told_apart(scale, receiver) + _above_the_cut(receiver)
    factor = _bend_scale(receiver)
    aim = (cents + equal) / factor
    sender = _SENDERS[type(receiver)]
    set_up, tuning, left = sender(receiver, aim, scale)
    sounding = _as_the_receiver_rounds((aim - left) * factor, receiver)
    return Plan(
        receiver,
        scale,
        tuple(set_up),
        tuple(tuning),
        aim,
        equal / factor,
        1 / factor,
        sounding + _own_cents(receiver) - shift,
    )


def _own_cents(receiver: Receiver) -> NDArray[np.float64]:
    """How far each key lies off equal temperament by itself."""
    own = np.zeros(KEYS)
    for key, cents in receiver.own_by_key.items():
        own[key] = cents
    return own


def _own_cents_told_apart(scale: Scale, receiver: Receiver) -> NDArray[np.float64]:
    """The same, as far as it can be taken back: of a pitch class, the mean of its keys that are heard."""
    own = _own_cents(receiver)
    if not _per_class(receiver) or not own.any():
        return own
    heard = np.zeros(KEYS, dtype=bool)
    heard[list(scale.heard_keys)] = True
    classes = [heard & (each == _CLASS_OF_KEY) for each in range(12)]
    means = np.array([own[each].mean() if each.any() else 0.0 for each in classes])
    return np.asarray(means[_CLASS_OF_KEY])


def _bend_scale(receiver: Receiver) -> float:
    return receiver.bend_scale if isinstance(receiver, BendPerClass | BendPerNote) else 1.0


def _above_the_cut(receiver: Receiver) -> float:
    """How far above a pitch to aim at a receiver that cuts down to its step, so as to hit the nearest.

    Half its step, less what the message's own steps stand off it already.
    """
    if receiver.rounding != "down":
        return 0.0
    return max(receiver.resolution_cents - _message_step_cents(receiver), 0.0) / 2


def _message_step_cents(receiver: Receiver) -> float:
    match receiver:
        case BendPerClass() | BendPerNote():
            return midi.bend_steps(receiver.bend_range_semitones).step_cents
        case TuningPerClass():
            return midi.FINE_STEPS.step_cents
        case KeyTuning():
            return midi.KEY_STEPS.step_cents
        case OctaveTuning():
            return (midi.OCTAVE_STEPS if receiver.bytes == 1 else midi.FINE_OCTAVE_STEPS).step_cents
        case Osc():
            return 0.0


def _per_class(receiver: Receiver) -> bool:
    return receiver.per == "class" or (isinstance(receiver, Osc) and receiver.each == "class")


def _as_the_receiver_rounds(cents: NDArray[np.float64], receiver: Receiver) -> NDArray[np.float64]:
    step = receiver.resolution_cents
    if not step:
        return cents
    steps = np.rint(cents / step) if receiver.rounding == "nearest" else np.floor(cents / step + _ON_A_STEP)
    return np.asarray(steps * step, dtype=np.float64)


# -- one sender for each means: receiver, cents to hold, scale -> set-up, tuning, cents left per key ------

_Sent = tuple[Sequence[bytes], Sequence[bytes], NDArray[np.float64]]


def _bend_per_class(receiver: BendPerClass, aim: NDArray[np.float64], scale: Scale) -> _Sent:
    ranges: list[bytes] = []
    bends: list[bytes] = []
    left = np.zeros(12)
    for pitch_class, channel in enumerate(receiver.channels):
        with _naming(pitch_class_name(pitch_class, scale.flats)):
            bent = midi.bend(channel, float(aim[pitch_class]), receiver.bend_range_semitones)
        ranges += midi.bend_range(channel, receiver.bend_range_semitones)
        bends += bent.messages
        left[pitch_class] = bent.left_cents
    return ranges, bends, left[_CLASS_OF_KEY]


def _bend_per_note(receiver: BendPerNote, aim: NDArray[np.float64], scale: Scale) -> _Sent:
    set_up: list[bytes] = []
    if receiver.manager is not None:
        set_up += midi.mpe_zone(len(receiver.channels), upper=receiver.manager == 16)
    for channel in receiver.played:  # in a zone, what one member is told holds for all
        set_up += midi.bend_range(channel, receiver.bend_range_semitones)
        set_up.append(midi.bend_message(channel, 8192))
    steps = midi.bend_steps(receiver.bend_range_semitones)
    cure = "raise bend_range_semitones of the receiver"
    worst = max(scale.heard_keys, key=lambda key: abs(aim[key]))
    with _naming(note_name(worst, scale.flats)):
        steps.checked(aim[worst], f"a bend range of {receiver.bend_range_semitones} semitones", cure)
    return set_up, (), aim - steps.cents(steps.nearest(aim))


def _tuning_per_class(receiver: TuningPerClass, aim: NDArray[np.float64], scale: Scale) -> _Sent:
    tuning: list[bytes] = []
    left = np.zeros(12)
    for pitch_class, channel in enumerate(receiver.channels):
        with _naming(pitch_class_name(pitch_class, scale.flats)):
            tuned = midi.channel_tuning(channel, float(aim[pitch_class]))
        tuning += tuned.messages
        left[pitch_class] = tuned.left_cents
    return (), tuning, left[_CLASS_OF_KEY]


def _key_tuning(receiver: KeyTuning, aim: NDArray[np.float64], scale: Scale) -> _Sent:
    selected: list[bytes] = []
    for channel in receiver.select:
        selected += midi.tuning_select(channel, receiver.program, receiver.bank or 0)
    if receiver.message == "dump":
        table = midi.key_dump(aim, scale.name, receiver.program, receiver.bank)
    else:
        table = midi.note_changes(np.arange(KEYS), aim, receiver.program, receiver.bank)
    return selected, table.messages, table.left_cents


def _octave_tuning(receiver: OctaveTuning, aim: NDArray[np.float64], scale: Scale) -> _Sent:
    tuned = midi.octave_tuning(aim[:12], receiver.channels, receiver.bytes == 2, receiver.real_time)
    return (), tuned.messages, tuned.left_cents[_CLASS_OF_KEY]


def _osc(receiver: Osc, aim: NDArray[np.float64], scale: Scale) -> _Sent:
    places = {"key": range(KEYS), "class": range(12), "note": range(0)}[receiver.each]
    template = receiver.template
    sent = [
        template.fill(osc_values(place, cents, receiver))
        for place, cents in zip(places, aim.tolist(), strict=False)
    ]
    # A float32 number of hz or cents keeps the pitch to 0.0001 cents; that is as good as nothing left.
    return (), [osc.encode(message) for message in sent], np.zeros(KEYS)


def osc_values(
    key: int, cents: float, receiver: Osc, channel: int = 1, velocity: float = 1.0
) -> dict[str, int | float | str]:
    """What the places of a template hold for a key that lies `cents` above the receiver's own equal."""
    equal_hz = float(hz_from_key(key, 0, receiver.reference_hz))
    hz = float(hz_from_key(key, cents, receiver.reference_hz))
    return {
        "key": key,
        "class": key % 12,
        "note": note_name(key),
        "channel": channel,
        "velocity": velocity,
        "hz": hz,
        "cents": cents,
        "ratio": hz / equal_hz,
        "beats": hz - equal_hz,
    }


_SENDERS: Final[dict[type, Callable[..., _Sent]]] = {
    BendPerClass: _bend_per_class,
    BendPerNote: _bend_per_note,
    TuningPerClass: _tuning_per_class,
    KeyTuning: _key_tuning,
    OctaveTuning: _octave_tuning,
    Osc: _osc,
}


def undo_of(receiver: Receiver) -> tuple[bytes, ...]:
    """What puts a receiver back: notes off, equal temperament, no ranges or zones, its file's own reset."""
    channels = receiver.midi_channels
    out = [*midi.notes_off(channels), *(midi.bend_message(channel, 8192) for channel in channels)]
    if isinstance(receiver, BendPerClass | BendPerNote):
        for channel in receiver.played if isinstance(receiver, BendPerNote) else receiver.channels:
            out += midi.bend_range(channel, receiver.rest_bend_range_semitones)
        if isinstance(receiver, BendPerNote) and receiver.manager is not None:
            # last: until then the range of one member holds for all, for those too that are played by others
            out += midi.mpe_zone(0, upper=receiver.manager == 16)
    else:
        equal = scale_of_classes("equal", np.zeros(12), receiver.reference_hz)
        set_up, tuning, _ = _SENDERS[type(receiver)](receiver, np.zeros(KEYS), equal)
        out += (*set_up, *tuning)
    if isinstance(receiver, Osc) and (off := receiver.off_template) is not None:
        out += [osc.encode(off.fill(osc_values(key, 0.0, receiver))) for key in range(KEYS)]
    if isinstance(receiver, KeyTuning) and (receiver.program or receiver.bank):
        for channel in receiver.select:
            out += midi.tuning_select(channel, 0, 0)
    return (*out, *receiver.reset_messages)


@contextmanager
def _naming(note: str) -> Iterator[None]:
    """Put the note in front of a BadValue raised inside."""
    try:
        yield
    except BadValue as error:
        raise BadValue(f"{note}: {error}") from None
