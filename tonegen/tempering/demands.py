"""What the grips and the band ask of the tuning points: one linear equation for each interval.

coefficients @ offsets = wanted_cents: the offset that lies between two strings (or between a string and the
band), where the interval is just with the drop of that state. Just is where the coincident partials meet: on
stiff strings that is not quite the ratio of the first partials, and under the bar, which makes a string
stiffer, another size at each fret; so there each fret has an equation of its own. The band is taken to have
whole multiples. Beat rates are linear in cents here, with the slope at equal temperament; what is reported
afterwards is exact.
"""

from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from itertools import combinations
from math import log
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.errors import BadValue
from tonegen.frozen import Frozen
from tonegen.instrument import State, TuningPoint
from tonegen.interval import HIGHEST_PARTIAL_TO_TUNE_BY, Ratio, partial_hz, partial_sharp_cents
from tonegen.pitch import hz_from_key
from tonegen.sounding import SoundingTone, ratio_between
from tonegen.tempering.scene import ROOT, BandPart, Scene, WantedGrip
from tonegen.wire import stiffness_elsewhere

_PER_CENT: Final = log(2) / 1200
# Partials above this are too weak to beat (common practice, no source). An interval whose coincident pair
# lies higher, such as 36:25, still counts in beats, with the slope of this partial, and cannot rule the rest.
HIGHEST_BEATING_PARTIAL: Final = 16


class DemandKind(StrEnum):
    """Where a demand comes from."""

    GRIP = "grip"
    BAND = "band"
    PULL = "pull"


@dataclass(frozen=True, slots=True)
class DemandVoice:
    """One tone of an interval: a string in a state, or a tone of the band.

    cents : above key 0, at zero offsets, drop included. terms : how the offsets add to it. stiffness : B
    without the bar, 0 where it is not known or not reckoned with.
    """

    label: str
    cents: float
    terms: tuple[tuple[TuningPoint, float], ...] = ()
    string: int | None = None
    point: TuningPoint | None = None
    nominal_cents: float = 0.0
    ratio: Ratio | None = None
    role: str = ""
    stiffness: float = 0.0

    def key(self, fret: float) -> int:
        """The key that it is nearest to at equal temperament, with the bar at a fret.

        >>> DemandVoice("string 5", 5900.0, string=5, nominal_cents=5900.0).key(fret=3)
        62
        """
        return round(self.nominal_cents / 100 + (fret if self.string is not None else 0))


@dataclass(frozen=True, slots=True)
class Demand:
    """One interval that should be just: `low` and `high` stand for `ratio`, with the bar at any of `frets`.

    wanted : the grip that it belongs to; none for the pull.
    """

    kind: DemandKind
    low: DemandVoice
    high: DemandVoice
    ratio: Ratio
    weight: float
    frets: tuple[float, ...]
    wanted: WantedGrip | None = None
    part: str = ""

    @property
    def fastest_fret(self) -> float:
        """Where it beats fastest of the frets that matter: the highest.

        >>> low, high = DemandVoice("A3", 5700.0), DemandVoice("C#4", 6100.0)
        >>> Demand(DemandKind.GRIP, low, high, Ratio(5, 4), 1.0, (3.0, 8.0, 0.0)).fastest_fret
        8.0
        """
        return max(self.frets)

    @property
    def name(self) -> str:
        """The grip, and the player of the band."""
        grip = self.wanted.grip.name if self.wanted else "equal temperament"
        return f"{grip} against {self.part}" if self.part else grip


@dataclass(frozen=True, slots=True)
class Demands(Frozen):
    """All demands of a scene on its tuning points, as arrays; m demands on n points.

    coefficients (m, n), wanted_cents (m,). squares_weight (m,): how often each counts in least squares;
    worst_weight (m,): what its error is multiplied by where the worst is to be least.
    rms_slope and worst_slope (m,): beats per second per cent, over the frets that matter.
    low_stiffness, high_stiffness (m,): B of the strings as their partials count here.
    """

    scene: Scene
    points: tuple[TuningPoint, ...]
    demands: tuple[Demand, ...]
    coefficients: NDArray[np.float64]
    wanted_cents: NDArray[np.float64]
    squares_weight: NDArray[np.float64]
    worst_weight: NDArray[np.float64]
    rms_slope: NDArray[np.float64]
    worst_slope: NDArray[np.float64]
    low_stiffness: NDArray[np.float64]
    high_stiffness: NDArray[np.float64]

    def of_kind(self, kind: DemandKind) -> NDArray[np.bool_]:
        """Which demands are of a kind; shape (m,)."""
        return np.array([demand.kind is kind for demand in self.demands], dtype=bool)

    def asked(self) -> NDArray[np.bool_]:
        """Which points a grip asks something of; shape (n,)."""
        return np.asarray((self.coefficients != 0).any(axis=0))

    def cents_from_just(self, offsets_cents: NDArray[np.float64]) -> NDArray[np.float64]:
        """How far each interval lies from where its partials meet, wide positive; shape (m,).

        >>> from tonegen.presets import instrument
        >>> from tonegen.tempering.scene import Scene
        >>> e9 = instrument("e9-ten-string")
        >>> fourth = WantedGrip(e9.grip_of((4, 5), e9.state()), e9.state())
        >>> for stiff in (False, True):
        ...     demands = demands_of(Scene("fourth", e9, (fourth,), stiff=stiff))
        ...     demands.cents_from_just(np.zeros(len(demands.points))).round(2).tolist()
        [1.96]
        [1.09]
        """
        return self.coefficients @ offsets_cents - self.wanted_cents

    def hz(self, offsets_cents: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Low and high tone of each demand at its fastest fret; two of shape (m,)."""
        column = {point: index for index, point in enumerate(self.points)}

        def cents(voice: DemandVoice, fret: float) -> float:
            moved = float(sum(share * offsets_cents[column[point]] for point, share in voice.terms))
            return voice.cents + (100 * fret if voice.string is not None else 0.0) + moved

        tones = np.array([
            (cents(demand.low, demand.fastest_fret), cents(demand.high, demand.fastest_fret))
            for demand in self.demands
        ]).reshape(-1, 2)  # fmt: skip
        low, high = hz_from_key(tones / 100, 0.0, self.scene.reference_hz).T
        return low, high


def demands_of(scene: Scene) -> Demands:
    """Every equation of a scene.

    Raises BadValue when the band names a string that a grip has not, or for a short string under the bar.

    >>> from tonegen.presets.scenes import scene
    >>> demands = demands_of(scene("e9-dance-band"))
    >>> demands.coefficients.shape == (len(demands.demands), len(demands.points))
    True
    """
    found: list[Demand] = []
    for wanted in scene.grips:
        _refuse_short_strings(scene, wanted)
        voices = _voices(scene, wanted)
        found += _within_grip(wanted, voices)
        for part in scene.band:
            if not part.grips or wanted.grip.name in part.grips:
                found += _with_band(scene, wanted, part, voices)
    _refuse_strays(scene)
    points = scene.points()
    if scene.pull > 0:
        asked = {point for demand in found for voice in (demand.low, demand.high) for point, _ in voice.terms}
        found += [_pull(scene, point) for point in points if point in asked]
    return _as_arrays(scene, points, tuple(found))


def voice(scene: Scene, string: int, state: State, ratio: Ratio | None = None, role: str = "") -> DemandVoice:
    """A string in a state as a linear function of the offsets, drop included.

    >>> from tonegen.presets.scenes import scene
    >>> asked = scene("e9-dance-band")
    >>> low_e = voice(asked, 8, asked.instrument.state(["A"]))
    >>> low_e.nominal_cents, round(low_e.cents - low_e.nominal_cents, 1)  # with the drop of A
    (5200.0, -2.3)
    """
    instrument, itself = scene.instrument, scene.instrument.string(string)
    point = instrument.point(string, state)
    raised = instrument.raised_semitones(point)
    terms: tuple[tuple[TuningPoint, float], ...]
    if instrument.stands_at_a_stop(string, state):
        above, terms = 100.0 * raised, ((point, 1.0),)
    else:
        above, terms = _half_engaged(scene, string, state)
    nominal = 100.0 * itself.open_key + above
    drop = scene.drop.since_tuned(instrument, string, state)
    stiffness = float(stiffness_elsewhere(itself.stiffness or 0.0, raised, 0.0)) if scene.stiff else 0.0
    return DemandVoice(
        f"string {string}", nominal + drop, terms, string, point, nominal, ratio, role, stiffness
    )


def stands_for(low: DemandVoice, high: DemandVoice) -> Ratio:
    """The ratio that two voices stand for: from their degrees where both have one, else the likeliest.

    >>> low = DemandVoice("A3", 5700.0, nominal_cents=5700.0)
    >>> high = DemandVoice("C#4", 6100.0, nominal_cents=6100.0)
    >>> str(stands_for(low, high))
    '5:4'
    """
    return _stands_for(round(high.nominal_cents - low.nominal_cents, 6), low.ratio, high.ratio)


@cache
def _stands_for(cents: float, low: Ratio | None, high: Ratio | None) -> Ratio:
    tones = (
        SoundingTone("low", 100.0, 0.0, degree_ratio=low),
        SoundingTone("high", 100.0 * 2 ** (cents / 1200), 0.0, degree_ratio=high),
    )
    return ratio_between(*tones)


def _half_engaged(
    scene: Scene, string: int, state: State
) -> tuple[float, tuple[tuple[TuningPoint, float], ...]]:
    """Between its stops a string is a mixture of the stops' offsets: the instrument's own line, by cents."""
    instrument = scene.instrument

    def above(raised: TuningPoint | None) -> float:
        return instrument.cents_above_open(string, state, lambda asked: 1.0 if asked == raised else 0.0)

    at_rest = above(None)
    shares = {each: above(each) - at_rest for each in instrument.points_between(string, state)}
    return at_rest, tuple((each, share) for each, share in shares.items() if abs(share) > 1e-9)


def _voices(scene: Scene, wanted: WantedGrip) -> tuple[DemandVoice, ...]:
    grip = wanted.grip
    ratios = grip.ratios or (None,) * len(grip.strings)
    roles = grip.roles or ("",) * len(grip.strings)
    return tuple(
        voice(scene, string, wanted.state, ratio, role)
        for string, ratio, role in zip(grip.strings, ratios, roles, strict=True)
    )


def _within_grip(wanted: WantedGrip, voices: tuple[DemandVoice, ...]) -> list[Demand]:
    rising = sorted(voices, key=lambda each: each.nominal_cents)
    found = []
    for low, high in combinations(rising, 2):
        ratio = stands_for(low, high)
        stretched = _counts_stiff(ratio) and (low.stiffness or high.stiffness)
        found += [
            Demand(DemandKind.GRIP, low, high, ratio, wanted.weight, frets, wanted)
            for frets in ([(fret,) for fret in wanted.frets] if stretched else [wanted.frets])
        ]
    return found


def _counts_stiff(ratio: Ratio) -> bool:
    """Whether the stiffness of strings counts in an interval: where its partials are such as one tunes by.

    Higher partials lie so far from whole multiples, tens of cents, that offsets which follow them spoil the
    pairs that are heard.
    """
    return max(ratio.upper, ratio.lower) <= HIGHEST_PARTIAL_TO_TUNE_BY


def _with_band(
    scene: Scene, wanted: WantedGrip, part: BandPart, voices: tuple[DemandVoice, ...]
) -> list[Demand]:
    named = [each for each in voices if each.string in part.strings] if part.strings else []
    held = named or [each for each in voices if each.ratio == ROOT]
    found = []
    for string in held if not part.strings or named else []:
        for fret in wanted.frets:
            key = _band_key(wanted, part, string, voices, fret)
            if key is None:
                continue
            offset = part.temperament.offset_of_key(key)
            tone = DemandVoice(part.name, 100.0 * key + offset, nominal_cents=100.0 * key)
            above = string.nominal_cents + 100 * fret - tone.nominal_cents
            degree = string.ratio if part.plays_root and string.ratio else ROOT
            octaves = round((above - degree.cents) / 1200)
            ratio = degree.shifted(octaves)
            low, high = (tone, string) if above >= 0 else (string, tone)
            if above < 0:
                ratio = Ratio(ratio.lower, ratio.upper)
            weight = wanted.weight * part.weight
            found.append(Demand(DemandKind.BAND, low, high, ratio, weight, (fret,), wanted, part.name))
    return found


def _band_key(
    wanted: WantedGrip, part: BandPart, string: DemandVoice, voices: tuple[DemandVoice, ...], fret: float
) -> int | None:
    """The key that the band plays against a string under the bar; none when the grip names no root."""
    if not part.plays_root:
        return round(string.nominal_cents / 100 + fret)
    if string.ratio is None:
        return None
    root = round((string.nominal_cents - string.ratio.cents) / 100 + fret)
    return part.lowest_key + (root - part.lowest_key) % 12


def _pull(scene: Scene, point: TuningPoint) -> Demand:
    key = scene.instrument.key(point)
    tone = DemandVoice("equal temperament", 100.0 * key, nominal_cents=100.0 * key)
    string = DemandVoice(
        f"string {point.string}", 100.0 * key, ((point, 1.0),), point.string, point, 100.0 * key
    )
    return Demand(DemandKind.PULL, tone, string, ROOT, scene.pull, (0.0,))


def _refuse_strays(scene: Scene) -> None:
    """A string that the band is to agree with must be in some grip where it plays."""
    for part in scene.band:
        for string in part.strings:
            scene.instrument.string(string)
            if not any(
                string in wanted.grip.strings
                for wanted in scene.grips
                if not part.grips or wanted.grip.name in part.grips
            ):
                raise BadValue(
                    f"scene {scene.name}: band {part.name}: string {string} is in none of its grips"
                )


def _refuse_short_strings(scene: Scene, wanted: WantedGrip) -> None:
    """The bar must raise all strings of a grip alike, so that its intervals are the same at every fret."""
    for number in wanted.grip.strings:
        string = scene.instrument.string(number)
        if string.begins_at_fret and any(wanted.frets):
            raise BadValue(
                f"grip {wanted.grip.name}: string {number} begins at fret {string.begins_at_fret}, and the "
                f"bar does not raise it with the others; leave it out, or give fret 0"
            )


def _as_arrays(scene: Scene, points: tuple[TuningPoint, ...], demands: tuple[Demand, ...]) -> Demands:
    column = {point: index for index, point in enumerate(points)}
    count = len(demands)
    coefficients = np.zeros((count, len(points)))
    wanted_cents, rms_slope, worst_slope = np.zeros(count), np.zeros(count), np.zeros(count)
    slopes_at_fret_0 = np.zeros(count)
    for row, demand in enumerate(demands):
        for side, each in ((1.0, demand.high), (-1.0, demand.low)):
            for point, share in each.terms:
                coefficients[row, column[point]] += side * share
        bar = 0.0  # the bar raises both strings of a grip alike, but not the band
        if demand.kind is DemandKind.BAND:
            bar = 100 * demand.frets[0] * (1 if demand.high.string is not None else -1)
        wanted_cents[row] = demand.ratio.cents - (demand.high.cents - demand.low.cents + bar)
    low_stiffness, high_stiffness = _stiffness(demands)
    if count:
        low_cents = np.array([
            demand.low.nominal_cents if demand.low.string is not None
            else demand.low.nominal_cents - 100 * demand.frets[0]
            for demand in demands
        ])  # fmt: skip
        upper = np.array([demand.ratio.upper for demand in demands])
        lower = np.array([demand.ratio.lower for demand in demands])
        wanted_cents += partial_sharp_cents(upper, low_stiffness) - partial_sharp_cents(lower, high_stiffness)
        # d(beat) / d(cents of the interval) = (partial p of low) * ln 2 / 1200, where the two partials meet.
        low_hz = hz_from_key(low_cents / 100, 0.0, scene.reference_hz)
        heard = np.minimum(upper, HIGHEST_BEATING_PARTIAL)
        slopes_at_fret_0 = partial_hz(low_hz, heard, low_stiffness) * _PER_CENT
        growth = {frets: np.exp2(np.array(frets) / 12) for frets in {demand.frets for demand in demands}}
        rms = {frets: np.sqrt(np.mean(each**2)) for frets, each in growth.items()}
        most = {frets: each.max() for frets, each in growth.items()}
        rms_slope = slopes_at_fret_0 * np.array([rms[demand.frets] for demand in demands])
        worst_slope = slopes_at_fret_0 * np.array([most[demand.frets] for demand in demands])
    weight = np.array([demand.weight for demand in demands])
    # What has one demand for each fret counts as much as what has one for all of them.
    part = np.array(
        [len(demand.frets) / len(demand.wanted.frets) if demand.wanted else 1.0 for demand in demands]
    )
    return Demands(
        scene, points, demands, coefficients, wanted_cents, weight * part, weight, rms_slope, worst_slope,
        low_stiffness, high_stiffness,
    )  # fmt: skip


def _stiffness(demands: tuple[Demand, ...]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """B of the low and of the high string of each demand under the bar; 0 for all that counts as flexible."""
    frets = np.array([demand.frets[0] for demand in demands])
    counts = np.array([_counts_stiff(demand.ratio) for demand in demands], dtype=bool)

    def under_the_bar(voices: list[DemandVoice]) -> NDArray[np.float64]:
        stiffness = stiffness_elsewhere([voice.stiffness for voice in voices], 0.0, frets)
        return np.where(counts, stiffness, 0.0)

    return (
        under_the_bar([demand.low for demand in demands]),
        under_the_bar([demand.high for demand in demands]),
    )
