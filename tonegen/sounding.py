"""What sounds together: tones with their pitches, and every interval between them with its beats.

This is what the command line prints, the page shows and the engine plays; nothing else computes it.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np

from tonegen.drop import Drop
from tonegen.errors import BadValue
from tonegen.instrument import Grip, Instrument, State
from tonegen.interval import (
    Audible,
    Direction,
    Ratio,
    audible,
    cents_from_just,
    coincident_partials_hz,
    direction,
    nearest_ratio,
)
from tonegen.pitch import (
    WrittenPitch,
    cents_between,
    hz_from_key,
    nearest_key,
    note_name,
)
from tonegen.synthesis.timbre import PURE, Place, Timbre, Tone, beating_only
from tonegen.temperament import Temperament, string_cents

_COINCIDENT_PAIRS = 3  # the lowest and the two above it; higher ones are too weak to count by


@dataclass(frozen=True, slots=True)
class SoundingTone:
    """One tone and where its pitch comes from.

    hz : its first partial. offset_cents : from equal temperament, without the drop.
    changes, travels : the changes that move its string, and how far each is engaged.
    degree_ratio : the degree that it plays, above the root of the grip, where the grip says so.
    stiffness : B of its partials; 0 for whole multiples.
    """

    name: str
    hz: float
    offset_cents: float
    drop_cents: float = 0.0
    string: int | None = None
    changes: tuple[str, ...] = ()
    travels: tuple[float, ...] = ()
    fret: float | None = None
    degree_ratio: Ratio | None = None
    role: str = ""
    stiffness: float = 0.0


@dataclass(frozen=True, slots=True)
class CoincidentPair:
    """Two partials that coincide when the interval is pure."""

    low_partial: int
    high_partial: int
    hz: float
    beats_per_second: float


@dataclass(frozen=True, slots=True)
class SoundingInterval:
    """An interval between two tones, and how it beats.

    pairs : coincident pairs, from the one that is listened to upwards: the lowest unless another was asked.
    """

    low: SoundingTone
    high: SoundingTone
    ratio: Ratio
    cents: float
    cents_from_just: float
    pairs: tuple[CoincidentPair, ...]

    @property
    def beats_per_second(self) -> float:
        """Signed rate of the coincident pair that is listened to."""
        return self.pairs[0].beats_per_second

    @property
    def coincident_hz(self) -> float:
        """Where to listen for it."""
        return self.pairs[0].hz

    @property
    def cents_from_meeting(self) -> float:
        """How far it lies from where that pair meets, wide positive; on flexible strings, from just."""
        half = self.beats_per_second / 2
        return float(cents_between(self.coincident_hz - half, self.coincident_hz + half))

    @property
    def direction(self) -> Direction:
        """Wide, narrow or pure."""
        return direction(self.beats_per_second)

    @property
    def audible(self) -> Audible:
        """Beats, roughness or too slow."""
        return audible(self.beats_per_second)


@dataclass(frozen=True)
class Sounding:
    """Tones that sound together at a reference pitch.

    ratio : what two of them stand for, where given. multiple : which coincident pair is listened to, from 1.
    """

    reference_hz: float
    tones: tuple[SoundingTone, ...]
    ratio: Ratio | None = None
    multiple: int = 1

    @cached_property
    def intervals(self) -> tuple[SoundingInterval, ...]:
        """Each pair, lower tone first, from the lowest up: when first asked, since tones sound without."""
        rising = sorted(self.tones, key=lambda tone: tone.hz)
        return tuple(
            interval_between(low, high, self.ratio, self.multiple) for low, high in combinations(rising, 2)
        )


def tone_of_hz(hz: float, reference_hz: float, name: str = "", timbre: Timbre = PURE) -> SoundingTone:
    """A tone given by its frequency; its offset is from the nearest key.

    >>> tone_of_hz(441.0, 440.0).name, round(tone_of_hz(441.0, 440.0).offset_cents, 2)
    ('441 Hz', 3.93)
    """
    _, offset = nearest_key(hz, reference_hz)
    return SoundingTone(name or f"{hz:g} Hz", float(hz), float(offset), stiffness=timbre.stiffness_on(None))


def tone_of_key(
    key: int, offset_cents: float, reference_hz: float, name: str = "", timbre: Timbre = PURE
) -> SoundingTone:
    """A tone given by its key and its offset from equal temperament.

    >>> tone_of_key(61, -13.7, 440.0).name
    'C#4'
    """
    hz = float(hz_from_key(key, offset_cents, reference_hz))
    return SoundingTone(name or note_name(key), hz, offset_cents, stiffness=timbre.stiffness_on(None))


def tone_as_written(
    written: WrittenPitch,
    reference_hz: float,
    timbre: Timbre = PURE,
    temperament: Temperament | None = None,
    above_hz: float | None = None,
) -> SoundingTone:
    """A tone that somebody wrote: a note in a temperament's tune, Hz, or cents above `above_hz`.

    Raises BadValue for cents without a tone below, and for a note of a temperament that has no keys.

    >>> from tonegen.pitch import parse_pitch
    >>> tone_as_written(parse_pitch("702c"), 440.0, above_hz=220.0).name
    '702c'
    """
    if written.key is not None:
        offset = written.cents + (temperament.offset_of_key(written.key) if temperament else 0.0)
        return tone_of_key(written.key, offset, reference_hz, written.text, timbre)
    hz = written.hz_at(reference_hz, above_hz=above_hz)
    return tone_of_hz(hz, reference_hz, "" if written.hz is not None else written.text, timbre)


def tones_of_grip(
    instrument: Instrument,
    grip: Grip,
    state: State,
    fret: float,
    temperament: Temperament,
    drop: Drop,
    reference_hz: float,
    timbre: Timbre = PURE,
) -> tuple[SoundingTone, ...]:
    """The strings of a grip as they sound in a state under the bar, drop included.

    timbre : whose partials beat; one that follows the string takes the stiffness of each.
    Raises BadValue for a fret off the neck, or a temperament of another instrument.

    >>> from tonegen.drop import NO_DROP
    >>> from tonegen.presets import instrument
    >>> from tonegen.temperament import EQUAL
    >>> e9 = instrument("e9-ten-string")
    >>> state = e9.state(["A", "B"])
    >>> tones = tones_of_grip(e9, e9.grip_of((3, 4, 5), state), state, 3.0, EQUAL, NO_DROP, 440.0)
    >>> [(tone.name, round(tone.hz, 1)) for tone in tones]
    [('C5', 523.3), ('G4', 392.0), ('E4', 329.6)]
    """
    position = instrument.checked_fret(fret)
    ratios = grip.ratios or (None,) * len(grip.strings)
    roles = grip.roles or ("",) * len(grip.strings)
    tones = []
    for number, ratio, role in zip(grip.strings, ratios, roles, strict=True):
        cents = string_cents(instrument, temperament, number, state)
        drop_cents = drop.since_tuned(instrument, number, state)
        semitones = nominal_semitones(instrument, number, state, cents)
        string = instrument.string(number)
        barred = string.bar_semitones(position)
        tones.append(
            SoundingTone(
                name=note_name(string.open_key + semitones + round(barred), instrument.flats),
                hz=float(hz_from_key(string.open_key + barred, cents + drop_cents, reference_hz)),
                offset_cents=cents - 100 * semitones,
                drop_cents=drop_cents,
                string=number,
                changes=tuple(own := instrument.own_changes(number, state)),
                travels=tuple(own.values()),
                fret=position,
                degree_ratio=ratio,
                role=role,
                stiffness=timbre.stiffness_on(
                    instrument.stiffness(number, state, position) if timbre.follows_string else None
                ),
            )
        )
    return tuple(tones)


def nominal_semitones(instrument: Instrument, string: int, state: State, cents: float) -> int:
    """Semitones above open that a string stands for in a state, where it is so many cents above its open key.

    That is its stop's note, or the nearest where it is between its stops.
    """
    stands_on = instrument.stands_on(string, state)
    return instrument.raised_semitones(stands_on) if stands_on else round(cents / 100)


def ratio_between(low: SoundingTone, high: SoundingTone) -> Ratio:
    """The ratio that two tones stand for: from their degrees where both have one, else the likeliest.

    Degrees are taken to the octaves that the tones are really in.

    >>> str(ratio_between(tone_of_key(57, 0.0, 440.0), tone_of_key(61, 0.0, 440.0)))
    '5:4'
    """
    if low.degree_ratio is None or high.degree_ratio is None:
        return nearest_ratio(low.hz, high.hz)
    ratio = Ratio(
        high.degree_ratio.upper * low.degree_ratio.lower, high.degree_ratio.lower * low.degree_ratio.upper
    )
    return ratio.shifted(round((float(cents_between(low.hz, high.hz)) - ratio.cents) / 1200))


def interval_between(
    low: SoundingTone, high: SoundingTone, ratio: Ratio | None = None, multiple: int = 1
) -> SoundingInterval:
    """The interval from `low` to `high`, standing for `ratio`, or for what `ratio_between` says.

    multiple : which coincident pair is listened to, 1 for the lowest.

    >>> third = interval_between(tone_of_key(57, 0.0, 440.0), tone_of_key(61, 0.0, 440.0))
    >>> str(third.ratio), round(third.beats_per_second, 2), round(third.coincident_hz)
    ('5:4', 8.73, 1104)
    """
    stands_for = ratio or ratio_between(low, high)
    multiples = np.arange(multiple, multiple + _COINCIDENT_PAIRS)
    lows, highs = coincident_partials_hz(
        low.hz,
        high.hz,
        stands_for,
        low_stiffness=low.stiffness,
        high_stiffness=high.stiffness,
        multiple=multiples,
    )
    pairs = tuple(
        CoincidentPair(
            stands_for.upper * number, stands_for.lower * number, (below + above) / 2, above - below
        )
        for number, below, above in zip(multiples.tolist(), lows.tolist(), highs.tolist(), strict=True)
    )
    return SoundingInterval(
        low,
        high,
        stands_for,
        float(cents_between(low.hz, high.hz)),
        float(cents_from_just(low.hz, high.hz, stands_for)),
        pairs,
    )


def sound(
    tones: Sequence[SoundingTone], reference_hz: float, ratio: Ratio | None = None, multiple: int = 1
) -> Sounding:
    """Everything that sounds when these tones do: each pair, lower tone first, from the lowest up.

    ratio : what the interval stands for; only for two tones. Raises BadValue otherwise.
    multiple : which coincident pair is listened to, 1 for the lowest.

    >>> triad = sound([tone_of_key(key, 0.0, 440.0) for key in (57, 61, 64)], 440.0)
    >>> [f"{each.ratio} {each.beats_per_second:+.1f}" for each in triad.intervals]
    ['5:4 +8.7', '3:2 -0.7', '6:5 -15.0']
    """
    if ratio is not None and len(tones) != 2:
        raise BadValue("a ratio is for two tones; give --low and --high, or leave --ratio out")
    return Sounding(reference_hz, tuple(tones), ratio, multiple)


def tones_to_play(
    sounding: Sounding, timbre: Timbre, *, split: bool = False, only_beating: bool = False
) -> tuple[Tone, ...]:
    """The tones for the engine, each named by its place in `sounding.tones`.

    split : the lowest tone in the left ear and the others in the right; otherwise all in both.
    only_beating : of each tone just the partials that beat against another's.

    >>> from tonegen.synthesis.timbre import PURE
    >>> third = sound([tone_of_key(57, 0.0, 440.0), tone_of_key(61, 0.0, 440.0)], 440.0)
    >>> [tone.place.name for tone in tones_to_play(third, PURE, split=True)]
    ['LEFT', 'RIGHT']
    """
    lowest = min(range(len(sounding.tones)), key=lambda index: sounding.tones[index].hz)
    tones = tuple(
        Tone(
            tone.hz,
            timbre,
            place=(Place.LEFT if index == lowest else Place.RIGHT) if split else Place.BOTH,
            stiffness=tone.stiffness,
            name=str(index),
        )
        for index, tone in enumerate(sounding.tones)
    )
    if not only_beating:
        return tones
    pairs = ((*places(sounding, it), it.ratio) for it in sounding.intervals)
    return beating_only(tones, pairs, sounding.multiple)


def places(sounding: Sounding, interval: SoundingInterval) -> tuple[int, int]:
    """Where the low and the high tone of an interval stand in `sounding.tones`.

    >>> third = sound([tone_of_key(61, 0.0, 440.0), tone_of_key(57, 0.0, 440.0)], 440.0)
    >>> places(third, third.intervals[0])  # the lower tone was named second
    (1, 0)
    """
    where = {id(tone): index for index, tone in enumerate(sounding.tones)}
    return where[id(interval.low)], where[id(interval.high)]
