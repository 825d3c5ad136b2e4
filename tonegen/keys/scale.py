"""The scale that keyboards are brought to: an offset for every key, and one for every pitch class.

It comes from a temperament alone, from a tuning dump that another program made, or from the instrument as it
sounds: strings in the states of grips, under the bar, drop included. Strings may disagree on a note; a
policy decides, and the spread is reported. Notes that the instrument does not have come from a temperament.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum
from math import log2
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonegen.drop import NO_DROP, Drop
from tonegen.errors import BadValue
from tonegen.frozen import read_only
from tonegen.instrument import Grip, Instrument, State
from tonegen.interval import nearest_ratio
from tonegen.keys.midi import KEY_STEPS, TuningMessage
from tonegen.pitch import (
    REFERENCE_HZ,
    checked_reference_hz,
    hz_from_key,
    nearest_key,
    pitch_class_name,
)
from tonegen.setlist.records import Anchor
from tonegen.setup.rig import Rig
from tonegen.setup.setting import Hands
from tonegen.sounding import SoundingTone, tones_of_grip
from tonegen.temperament import EQUAL, Temperament

KEYS: Final = 128
PIANO_KEYS: Final = tuple(range(21, 109))
# Intervals simple enough that their beats are heard in a chord: up to the minor sixth, 8:5.
_MOST_COMPLEX_CONSONANCE: Final = 40
_NO_SPREAD_CENTS: Final = 0.005


class Policy(StrEnum):
    """Who is right where strings disagree on a note."""

    GRIP_FIRST = "grip first"
    MEAN = "mean"
    LEAST_BEATS = "least beats"


@dataclass(frozen=True, slots=True)
class Spread:
    """Strings that disagree on a note.

    beats_per_second : between the lowest and the highest, in unison. strings : all, each with its state and
    offset. lowest, highest : one string that stands there, with its state.
    """

    note: str
    lowest_cents: float
    highest_cents: float
    beats_per_second: float
    strings: tuple[str, ...]
    lowest: str
    highest: str

    @property
    def cents(self) -> float:
        """From the lowest to the highest."""
        return self.highest_cents - self.lowest_cents


@dataclass(frozen=True, slots=True)
class Scale:
    """Offsets from equal temperament at the reference pitch.

    key_cents : of the 128 keys. class_cents : of the twelve pitch classes from C, for receivers that have
    only those. heard_keys : those on which beats count, the instrument's own or a piano's. flats : how
    notes are written. Both arrays are read-only.
    """

    name: str
    key_cents: NDArray[np.float64]
    class_cents: NDArray[np.float64]
    reference_hz: float = REFERENCE_HZ
    heard_keys: tuple[int, ...] = PIANO_KEYS
    spread: tuple[Spread, ...] = ()
    flats: bool = False

    def __post_init__(self) -> None:
        """Check sizes and reference; raises BadValue."""
        checked_reference_hz(self.reference_hz)
        for name, size in (("key_cents", KEYS), ("class_cents", 12)):
            values = np.array(getattr(self, name), dtype=np.float64)
            if values.shape != (size,) or not np.isfinite(values).all():
                raise BadValue(f"a scale needs {size} finite offsets in {name}")
            object.__setattr__(self, name, read_only(values))

    @property
    def hz(self) -> NDArray[np.float64]:
        """Frequencies of the 128 keys."""
        return hz_from_key(np.arange(KEYS), self.key_cents, self.reference_hz)


def scale_of_classes(
    name: str, class_cents: ArrayLike, reference_hz: float = REFERENCE_HZ, flats: bool = False
) -> Scale:
    """The same twelve offsets, C to B, in every octave."""
    classes = np.asarray(class_cents, dtype=np.float64)
    if classes.shape != (12,):
        raise BadValue(f"a scale needs twelve offsets, C to B; {classes.size} given")
    return Scale(name, classes[np.arange(KEYS) % 12], classes, reference_hz, flats=flats)


def scale_of_temperament(temperament: Temperament, reference_hz: float = REFERENCE_HZ) -> Scale:
    """Straight from a temperament. Raises BadValue for one that only an instrument has."""
    return scale_of_classes(
        temperament.name, [temperament.offset_of_key(pitch_class) for pitch_class in range(12)], reference_hz
    )


def anchored(scale: Scale, anchor: Anchor, root: int) -> Scale:
    """The same scale moved as a whole, so that the anchor's note stands at equal temperament.

    root : pitch class that it is built on. By the mean the twelve offsets add up to nothing, so that all keys
    together are as near to equal as they can be.

    >>> from tonegen.presets import temperament
    >>> just = scale_of_temperament(temperament("five-limit-just"))
    >>> moved = anchored(just, Anchor.A, 0).class_cents
    >>> [float(moved[note].round(2)) for note in (0, 9)]  # C goes up by what A was below
    [15.64, 0.0]
    """
    classes = scale.class_cents
    by = classes.mean() if anchor is Anchor.MEAN else classes[{Anchor.A: 9, Anchor.ROOT: root}[anchor]]
    return replace(scale, key_cents=scale.key_cents - by, class_cents=classes - by)


def scale_of_dumps(tunings: Sequence[TuningMessage], reference_hz: float = REFERENCE_HZ) -> Scale:
    """From messages of the MIDI Tuning Standard that say what keys or pitch classes are to be, in order.

    Their frequencies are absolute; at another reference than 440 Hz they are moved along with it.
    Keys that no message names stay equal. Raises BadValue where no message holds an offset.
    """
    telling = [tuning for tuning in tunings if tuning.keys]
    if not telling:
        what = f"a {tunings[0].form.name}" if tunings else "this"
        raise BadValue(f"{what} holds no tuning; use a dump or a tuning change")
    keys = np.zeros(KEYS)
    for tuning in telling:
        offsets = np.array(tuning.offset_cents)
        if tuning.form.steps is not KEY_STEPS:
            keys = offsets[np.arange(KEYS) % 12]
        else:
            named = np.array(tuning.keys)
            keys[named] = np.where(np.isnan(offsets), keys[named], offsets)
    middle = keys[60:72]  # the octave from middle C speaks for pitch classes
    return Scale(telling[-1].name or telling[-1].form.name, keys, middle, reference_hz)


@dataclass(frozen=True, slots=True)
class Heard:
    """A grip in a state, and how much it counts in a weighted mean."""

    grip: Grip
    state: State
    weight: float = 1.0


def heard_grips(
    instrument: Instrument, names: Iterable[str] = (), weights: Mapping[str, float] | None = None
) -> tuple[Heard, ...]:
    """The named grips, or all that the instrument has; without any, its open strings.

    Raises BadValue for an unknown grip.
    """
    chosen = [instrument.grip(name) for name in names] or list(instrument.grips)
    if not chosen:
        chosen = [Grip("open", tuple(string.number for string in instrument.strings))]
    return tuple(
        Heard(grip, instrument.state(grip.changes), (weights or {}).get(grip.name, 1.0)) for grip in chosen
    )


def heard_state(instrument: Instrument, state: State) -> tuple[Heard, ...]:
    """All strings in one state: what follows the pedals as they move."""
    strings = tuple(string.number for string in instrument.strings)
    return (Heard(Grip(str(state), strings, state.changes), state),)


@dataclass(frozen=True, slots=True)
class _Voice:
    key: int
    offset_cents: float
    weight: float
    tone: SoundingTone
    grip: Grip = field(compare=False)


class Elsewhere:
    """All strings in every state that the player uses: open, each change alone, and those of the grips.

    At a half-stop it is the string that has it.

    It tells where a note stands that the state of the moment lacks. That is worked out once, and again only
    for another temperament, drop, bar position or reference.
    """

    def __init__(self, instrument: Instrument) -> None:
        """Nothing is worked out yet."""
        self.instrument = instrument
        states = [instrument.state(), *(instrument.state([change.name]) for change in instrument.changes)]
        states += [instrument.state(grip.changes) for grip in instrument.grips]
        different = {state.changes: state for state in states}
        self._heard = [one for state in different.values() for one in heard_state(instrument, state)]
        for point in instrument.tuning_points():
            if point.travel < 1:
                grip = Grip(str(point), (point.string,), point.changes)
                self._heard.append(Heard(grip, instrument.state(point.travels)))
        self._asked: tuple[object, ...] = ()
        self._voices: list[_Voice] = []

    def voices(self, temperament: Temperament, drop: Drop, fret: float, reference_hz: float) -> list[_Voice]:
        """What every string plays in every state."""
        asked = (temperament, drop, fret, reference_hz)
        if asked != self._asked:
            self._voices = [
                voice
                for one in self._heard
                for voice in _voices(one, self.instrument, temperament, drop, fret, reference_hz)
            ]
            self._asked = asked
        return self._voices


def scale_of_rig(
    rig: Rig,
    hands: Hands,
    *,
    follow: bool,
    grips: tuple[str, ...] = (),
    weights: Mapping[str, float] | None = None,
    policy: Policy = Policy.MEAN,
    elsewhere: Elsewhere | None = None,
    fill: Temperament = EQUAL,
) -> Scale:
    """What the keyboards must be to agree with a rig, the bar at the fret nearest to where it is.

    Half way between two frets, as in a slide, no key would be near any string.

    follow : take all strings in the state of the pedals, and `elsewhere` for notes that it lacks, in place of
        the grips of these names; of those the first leads, and all that the instrument has are taken for none
    Raises BadValue as `scale_of_instrument` does.
    """
    if follow:
        heard = heard_state(rig.instrument, rig.state(hands.travels))
    else:
        heard, elsewhere = heard_grips(rig.instrument, grips, weights), None
    return scale_of_instrument(
        rig.instrument, rig.temperament, heard, drop=rig.drop, fret=round(hands.fret),
        policy=policy, elsewhere=elsewhere, fill=fill, reference_hz=rig.reference_hz,
    )  # fmt: skip


def strings_of_rig(rig: Rig, hands: Hands) -> tuple[tuple[int, float], ...]:
    """All strings in the state of the pedals, each with the nearest key and its offset from that.

    The bar is taken at the fret nearest to where it is, as `scale_of_rig` has it.
    """
    [heard] = heard_state(rig.instrument, rig.state(hands.travels))
    voices = _voices(heard, rig.instrument, rig.temperament, rig.drop, round(hands.fret), rig.reference_hz)
    return tuple((voice.key, voice.offset_cents) for voice in voices)


def scale_of_instrument(
    instrument: Instrument,
    temperament: Temperament,
    heard: Sequence[Heard],
    *,
    drop: Drop = NO_DROP,
    fret: float = 0,
    policy: Policy = Policy.MEAN,
    first: Grip | None = None,
    elsewhere: Elsewhere | None = None,
    fill: Temperament = EQUAL,
    reference_hz: float = REFERENCE_HZ,
) -> Scale:
    """What the keyboards must be to agree with the instrument at this bar position.

    first : the grip that decides under GRIP_FIRST, the chord under LEAST_BEATS; the first heard unless said.
    elsewhere : gives the notes that those heard lack, by the mean: so that a note whose string a pedal has
        taken away stays about where it was.
    fill : gives the notes that no string plays, in the octaves above and below as well.
    A key takes its own strings where it has some, else those of its pitch class in other octaves.
    Raises BadValue for a fret off the neck, or a temperament of another instrument.
    """
    if not heard:
        raise BadValue("a scale of an instrument needs a grip; name one")
    voices = [
        voice for one in heard for voice in _voices(one, instrument, temperament, drop, fret, reference_hz)
    ]
    leading = first or heard[0].grip
    chord = [voice for voice in voices if voice.grip.name == leading.name]
    if policy is not Policy.MEAN and not chord:
        raise BadValue(f'grip "{leading.name}" is not among the grips to follow; name it as well')
    by_class, by_key = _grouped(voices, 12), _grouped(voices, KEYS)

    class_cents = np.array([fill.offset_of_key(pitch_class) for pitch_class in range(12)])
    others = elsewhere.voices(temperament, drop, fret, reference_hz) if elsewhere else ()
    lacking = [voice for voice in others if voice.key % 12 not in by_class]
    for pitch_class, same in _grouped(lacking, 12).items():
        class_cents[pitch_class] = _decided(same, Policy.MEAN, leading)
    for pitch_class, same in by_class.items():
        class_cents[pitch_class] = _decided(same, policy, leading)
    key_cents = class_cents[np.arange(KEYS) % 12]
    for key, same in _grouped(lacking, KEYS).items():
        key_cents[key] = _decided(same, Policy.MEAN, leading)
    for key, same in by_key.items():
        key_cents[key] = _decided(same, policy, leading)
    if policy is Policy.LEAST_BEATS:
        key_cents, class_cents = _least_beats(chord, key_cents, class_cents, reference_hz)
    return Scale(
        f"{temperament.name} on {instrument.name}, fret {fret:g}",
        key_cents,
        class_cents,
        reference_hz,
        tuple(sorted(by_key)),
        _spreads(by_class, reference_hz, instrument.flats),
        instrument.flats,
    )


def _voices(
    heard: Heard,
    instrument: Instrument,
    temperament: Temperament,
    drop: Drop,
    fret: float,
    reference_hz: float,
) -> Iterable[_Voice]:
    tones = tones_of_grip(instrument, heard.grip, heard.state, fret, temperament, drop, reference_hz)
    for tone in tones:
        key, offset = nearest_key(tone.hz, reference_hz)
        if 0 <= int(key) < KEYS:
            yield _Voice(int(key), float(offset), heard.weight, tone, heard.grip)


def _grouped(voices: Iterable[_Voice], size: int) -> dict[int, list[_Voice]]:
    """By key, or by pitch class with a size of 12."""
    groups: dict[int, list[_Voice]] = defaultdict(list)
    for voice in voices:
        groups[voice.key % size].append(voice)
    return groups


def _decided(voices: Sequence[_Voice], policy: Policy, leading: Grip) -> float:
    """The offset of one note: the leading grip's own where that comes first, else the weighted mean."""
    if policy is Policy.GRIP_FIRST:
        voices = [voice for voice in voices if voice.grip.name == leading.name] or voices
    weights = [voice.weight for voice in voices]
    return float(
        np.average([voice.offset_cents for voice in voices], weights=weights if sum(weights) else None)
    )


def _least_beats(
    chord: Sequence[_Voice],
    key_cents: NDArray[np.float64],
    class_cents: NDArray[np.float64],
    reference_hz: float,
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Each key where its beats against the chord have the least sum of squares.

    A beat q*high - p*low is linear in the key's frequency, so the least sum has one exact solution:
    f = sum(w a b) / sum(w a a) over the chord's tones, a being the key's own partial number and b the
    frequency of the tone's. Weighted by 1/(p q), as partials weaken upward. Keys without a consonance
    against the chord stay as they are.
    """
    keys, classes = key_cents.copy(), class_cents.copy()
    sums = np.zeros((12, 2))
    for key in range(KEYS):
        equal_hz = float(hz_from_key(key, 0, reference_hz))
        upper = lower = 0.0
        for voice in chord:
            low, high = sorted((equal_hz, voice.tone.hz))
            if log2(high / low) > 2.6:
                continue
            ratio = nearest_ratio(low, high)
            if ratio.upper * ratio.lower > _MOST_COMPLEX_CONSONANCE:
                continue
            own, other = (
                (ratio.lower, ratio.upper) if equal_hz >= voice.tone.hz else (ratio.upper, ratio.lower)
            )
            weight = 1 / (ratio.upper * ratio.lower)
            upper += weight * own * other * voice.tone.hz
            lower += weight * own * own
        if lower:
            keys[key] = 1200 * log2(upper / lower / equal_hz)
            # near a solution the sum of squares grows with (a f)^2: that is how much this octave counts
            curvature = lower * equal_hz**2
            sums[key % 12] += curvature * keys[key], curvature
    has_some = sums[:, 1] > 0
    classes[has_some] = sums[has_some, 0] / sums[has_some, 1]
    return keys, classes


def _spreads(
    by_class: Mapping[int, Sequence[_Voice]], reference_hz: float, flats: bool
) -> tuple[Spread, ...]:
    found = []
    for pitch_class, voices in sorted(by_class.items()):
        few_changes_first = sorted(voices, key=lambda voice: len(voice.grip.changes))
        low = min(few_changes_first, key=lambda voice: round(voice.offset_cents, 6))
        high = max(few_changes_first, key=lambda voice: round(voice.offset_cents, 6))
        if high.offset_cents - low.offset_cents < _NO_SPREAD_CENTS:
            continue
        there_hz = hz_from_key(high.key, [low.offset_cents, high.offset_cents], reference_hz)
        strings = {f"{_who(voice)} {voice.offset_cents:+.2f}" for voice in voices}
        found.append(
            Spread(
                pitch_class_name(pitch_class, flats),
                low.offset_cents,
                high.offset_cents,
                float(there_hz[1] - there_hz[0]),
                tuple(sorted(strings)),
                _who(low),
                _who(high),
            )
        )
    return tuple(found)


def _who(voice: _Voice) -> str:
    state = f"in {'+'.join(voice.grip.changes)}" if voice.grip.changes else "open"
    return f"{voice.tone.name} string {voice.tone.string} {state}"
