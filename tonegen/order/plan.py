"""A plan for tuning by ear: what to tune against what, how fast it must beat, and how sure the result is.

Tuning points and reference tones are the nodes of a graph; its edges are intervals that can be sounded in
some state, each with the uncertainty in cents of counting its beats. The plan is the tree in which every
point has the least accumulated variance: open strings from open strings, then each change from what is tuned.

How well beats are counted is our model (common practice, no source): half a beat in five seconds;
up to 4 beats a second is easy, then every 4 more double the error; unisons, octaves and fifths are heard
best, and the higher the coincident pair lies among the partials, the weaker it is.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from heapq import heappop, heappush
from itertools import combinations
from math import log, log2, sqrt
from typing import Final

from tonegen.drop import Drop
from tonegen.errors import BadValue
from tonegen.instrument import Instrument, State, TuningPoint
from tonegen.interval import (
    FASTEST_COUNTABLE_BEATS_PER_SECOND,
    SLOWEST_COUNTABLE_BEATS_PER_SECOND,
    Ratio,
    nearest_ratio,
)
from tonegen.interval import beats_per_second as beat_rate
from tonegen.interval import coincident_hz as midway_hz
from tonegen.pitch import hz_from_key, note_name
from tonegen.temperament import Temperament
from tonegen.words import counted, side

COUNTED_SECONDS: Final = 5.0
_COUNT_ERROR_BEATS: Final = 0.5
_EASY_BEATS_PER_SECOND: Final = 4.0
_BAR_ERROR_CENTS: Final = 0.5  # of setting a bar straight over its fret
_HIGHEST_PARTIAL: Final = 8
_MOST_CHECKS: Final = 8


@dataclass(frozen=True, slots=True)
class Reference:
    """A tone that stands by itself: one that the program plays, or the bass."""

    name: str
    hz: float

    def __str__(self) -> str:
        """Its name and frequency."""
        return f"{self.name} ({self.hz:.2f} Hz)"


Node = TuningPoint | Reference


@dataclass(frozen=True, slots=True)
class TuningStep:
    """Tune one point against something that is tuned, in a state, under the bar at a fret.

    low_hz, high_hz : the two tones as they sound then, drop and bar included. tune_is_high : whether the
    point that is tuned plays the upper one. beats_per_second : signed target. counting_error_cents : of this
    step alone; accuracy_cents : of the point, with all steps before it; both one standard deviation.
    """

    tune: TuningPoint
    against: Node
    state: State
    fret: float
    ratio: Ratio
    low_hz: float
    high_hz: float
    tune_is_high: bool
    counting_error_cents: float
    accuracy_cents: float = 0.0

    @property
    def beats_per_second(self) -> float:
        """Wide positive, narrow negative."""
        return float(beat_rate(self.low_hz, self.high_hz, self.ratio))

    @property
    def coincident_hz(self) -> float:
        """Where to listen."""
        return float(midway_hz(self.low_hz, self.high_hz, self.ratio))

    @property
    def pair(self) -> str:
        """Which partials beat."""
        return f"partial {self.ratio.upper} of the lower with {self.ratio.lower} of the upper"

    @property
    def move(self) -> str:
        """Whether to raise or to lower the string once it is pure; nothing where it stays so."""
        rate = self.beats_per_second
        if abs(rate) < SLOWEST_COUNTABLE_BEATS_PER_SECOND:
            return ""
        return "raise" if (rate > 0) == self.tune_is_high else "lower"

    @property
    def count(self) -> str:
        """How to count it, and from where: "7 beats in 10 seconds, narrow: start from pure and lower"."""
        if not self.move:
            return "pure: no beat in 20 seconds"
        where = side(self.beats_per_second)
        return f"{counted(self.beats_per_second)}, {where}: tune it pure, then {self.move} it"

    @property
    def sounds_like(self) -> str:
        """What is heard when the step is passed."""
        return sounds_like(self.beats_per_second)


@dataclass(frozen=True, slots=True)
class Check:
    """An interval that was not tuned by itself and closes a loop.

    within_beats_per_second : how far from its target it may be when all went as well as expected (two
    standard deviations, the counting of the check included).
    """

    low: Node
    high: Node
    state: State
    fret: float
    ratio: Ratio
    beats_per_second: float
    coincident_hz: float
    within_beats_per_second: float


@dataclass(frozen=True, slots=True)
class Order:
    """Steps in the order to take them, then the checks."""

    instrument: Instrument
    steps: tuple[TuningStep, ...]
    checks: tuple[Check, ...]

    def accuracy_cents(self) -> Mapping[TuningPoint, float]:
        """Expected standard deviation of every point."""
        return {step.tune: step.accuracy_cents for step in self.steps}


def sounds_like(beats_per_second: float) -> str:
    """A rate in words.

    >>> sounds_like(0.0), sounds_like(2.0)
    ('stands still', 'a wave that can be counted, like a slow tremolo')
    """
    rate = abs(beats_per_second)
    if rate < SLOWEST_COUNTABLE_BEATS_PER_SECOND:
        return "stands still"
    if rate < 1:
        return "a slow swell, slower than breathing out"
    if rate < _EASY_BEATS_PER_SECOND:
        return "a wave that can be counted, like a slow tremolo"
    return "a fast tremolo; count every second or fourth"


def counting_error_beats_per_second(
    beats_per_second: float, ratio: Ratio, seconds: float = COUNTED_SECONDS
) -> float:
    """Standard deviation of a counted rate, by the model above.

    >>> counting_error_beats_per_second(1.0, Ratio(3, 2)), counting_error_beats_per_second(8.0, Ratio(3, 2))
    (0.1, 0.2)
    """
    hardness = max(1.0, 1 + log2(max(ratio.upper * ratio.lower / 6, ratio.upper / 3)) / 2)
    haste: float = 2.0 ** max(0.0, (abs(beats_per_second) - _EASY_BEATS_PER_SECOND) / _EASY_BEATS_PER_SECOND)
    return _COUNT_ERROR_BEATS / seconds * hardness * haste


def tuning_order(
    instrument: Instrument,
    temperament: Temperament,
    drop: Drop,
    reference_hz: float,
    *,
    points: Sequence[TuningPoint] = (),
    references: Sequence[Reference] = (),
    frets: Sequence[float] = (0.0,),
    ratios: Sequence[Ratio] = (),
) -> Order:
    """The plan for an instrument in a temperament.

    points : what to tune; all tuning points if none are given. references : tones to start from; if none, the
    program plays the highest open string that is the instrument's root. frets : bar positions to listen at.
    ratios : use only intervals that stand for these (for comparing plans). A point that nothing can be heard
    against is tuned to its own tone, played by the program. Raises BadValue for frets off the neck.

    >>> from tonegen.presets import instrument
    >>> from tonegen.drop import NO_DROP
    >>> from tonegen.temperament import EQUAL
    >>> first = tuning_order(instrument("e9-ten-string"), EQUAL, NO_DROP, 440.0).steps[0]
    >>> str(first.tune), str(first.against), str(first.ratio)
    ('string 5 open', 'tone E4 (329.63 Hz)', '4:3')
    >>> first.count
    '11 beats in 10 seconds, wide: tune it pure, then lower it'
    """
    rig = _Rig(instrument, temperament, drop, reference_hz)
    wanted = tuple(dict.fromkeys(points or instrument.tuning_points()))
    starts = tuple(references) or (rig.tone_of(rig.root_string(wanted)),)
    checked = [instrument.checked_fret(fret) for fret in frets]
    edges = [
        edge
        for edge in rig.edges(wanted, starts, checked)
        if not ratios or _within_octave(edge.ratio) in ratios
    ]
    reached = _least_variance_tree(wanted, starts, edges)
    for point in wanted:
        if point not in reached:
            reached[point] = rig.unison(point)
            _relax_from(point, reached, edges)
    steps = _in_playing_order(instrument, reached)
    return Order(instrument, steps, _checks(steps, edges))


@dataclass(frozen=True, slots=True)
class _Rig:
    instrument: Instrument
    temperament: Temperament
    drop: Drop
    reference_hz: float

    def hz(self, point: TuningPoint, state: State, fret: float) -> float:
        """A point as it sounds in a state."""
        cents = self.temperament.offset_cents(self.instrument, point)
        cents += self.drop.since_tuned(self.instrument, point.string, state)
        barred = self.instrument.string(point.string).bar_semitones(fret)
        return float(hz_from_key(self.instrument.key(point) + barred, cents, self.reference_hz))

    def tone_of(self, point: TuningPoint) -> Reference:
        """A tone at the very pitch that a point is to have."""
        state = self.instrument.state(point.changes)
        note = note_name(self.instrument.key(point), self.instrument.flats)
        return Reference(f"tone {note}", self.hz(point, state, 0.0))

    def root_string(self, wanted: Sequence[TuningPoint]) -> TuningPoint:
        """The highest open string that plays the instrument's root, else the highest."""
        strings = sorted(self.instrument.strings, key=lambda string: -string.open_key)
        roots = [string for string in strings if string.open_key % 12 == self.instrument.root]
        tuned = {point for point in wanted if not point.changes}
        for string in [*roots, *strings]:
            if TuningPoint(string.number) in tuned:
                return TuningPoint(string.number)
        raise BadValue("a plan needs open strings to begin with; name at least one")

    def unison(self, point: TuningPoint) -> TuningStep:
        """Tune a point to its own tone."""
        tone, state = self.tone_of(point), self.instrument.state(point.changes)
        return _step(point, tone, state, 0.0, Ratio(1, 1), tone.hz, tone.hz, True)

    def edges(
        self, points: Sequence[TuningPoint], starts: Sequence[Reference], frets: Sequence[float]
    ) -> Iterator[TuningStep]:
        """Every interval that can be used to tune one point against another, or against a reference."""
        for first, second in combinations(points, 2):
            state = self._common_state(first, second)
            if state is None:
                continue
            for fret in frets:
                tones = (self.hz(first, state, fret), self.hz(second, state, fret))
                yield from self._both_ways(first, second, state, fret, tones)
        for start in starts:
            for point in points:
                state = self.instrument.state(point.changes)
                tones = (self.hz(point, state, 0.0), start.hz)
                for step in self._both_ways(point, start, state, 0.0, tones):
                    if step.tune == point:
                        yield step

    def _both_ways(
        self, first: TuningPoint, second: Node, state: State, fret: float, tones: tuple[float, float]
    ) -> Iterator[TuningStep]:
        low, high = sorted(tones)
        ratio = _ratio(low, high)
        if ratio is None or abs(beat_rate(low, high, ratio)) > FASTEST_COUNTABLE_BEATS_PER_SECOND:
            return
        first_is_high = tones[0] >= tones[1]
        if not (isinstance(second, TuningPoint) and not first.changes and second.changes):
            yield _step(first, second, state, fret, ratio, low, high, first_is_high)
        if isinstance(second, TuningPoint) and not (first.changes and not second.changes):
            yield _step(second, first, state, fret, ratio, low, high, not first_is_high)

    def _common_state(self, first: TuningPoint, second: TuningPoint) -> State | None:
        """The state in which both points sound; none when there is none."""
        if first.string == second.string:
            return None
        engaged = {*first.changes, *second.changes}
        if any(len(group & engaged) > 1 for group in self.instrument.exclusive):
            return None
        state = self.instrument.state(engaged)
        for point in (first, second):
            if self.instrument.point(point.string, state) != point:
                return None
        return state


def _step(
    tune: TuningPoint,
    against: Node,
    state: State,
    fret: float,
    ratio: Ratio,
    low_hz: float,
    high_hz: float,
    tune_is_high: bool,
) -> TuningStep:
    """A step with the error that counting it, and the bar, bring in."""
    beats = float(beat_rate(low_hz, high_hz, ratio))
    partial = ratio.lower * high_hz if tune_is_high else ratio.upper * low_hz
    error = counting_error_beats_per_second(beats, ratio) / (partial * log(2) / 1200)
    if fret:
        error = sqrt(error**2 + _BAR_ERROR_CENTS**2)
    return TuningStep(tune, against, state, fret, ratio, low_hz, high_hz, tune_is_high, error, error)


_RATIOS: dict[int, Ratio | None] = {}


def _ratio(low_hz: float, high_hz: float) -> Ratio | None:
    """What an interval is tuned as; none where its coincident pair lies too high to be heard."""
    semitones = round(12 * log2(high_hz / low_hz))
    if semitones not in _RATIOS:
        ratio = nearest_ratio(1.0, 2 ** (semitones / 12))
        _RATIOS[semitones] = ratio if ratio.upper <= _HIGHEST_PARTIAL else None
    return _RATIOS[semitones]


def _within_octave(ratio: Ratio) -> Ratio:
    while ratio.upper > 2 * ratio.lower:
        ratio = ratio.shifted(-1)
    return ratio


def _least_variance_tree(
    points: Sequence[TuningPoint], starts: Sequence[Reference], edges: Sequence[TuningStep]
) -> dict[TuningPoint, TuningStep]:
    """For each point that can be reached the step that tunes it (Dijkstra, on variances)."""
    reached: dict[TuningPoint, TuningStep] = {}
    _spread([(0.0, start) for start in starts], reached, edges)
    return reached


def _relax_from(
    point: TuningPoint, reached: dict[TuningPoint, TuningStep], edges: Sequence[TuningStep]
) -> None:
    _spread([(reached[point].accuracy_cents ** 2, point)], reached, edges)


def _spread(
    sources: list[tuple[float, Node]], reached: dict[TuningPoint, TuningStep], edges: Sequence[TuningStep]
) -> None:
    by_source: dict[Node, list[TuningStep]] = {}
    for edge in edges:
        by_source.setdefault(edge.against, []).append(edge)
    queue: list[tuple[float, int, Node]] = []
    for number, (variance, node) in enumerate(sources):
        heappush(queue, (variance, number, node))
    pushed = len(queue)
    while queue:
        variance, _, node = heappop(queue)
        if isinstance(node, TuningPoint) and variance > reached[node].accuracy_cents ** 2 * (1 + 1e-12):
            continue
        for edge in by_source.get(node, ()):
            total = sqrt(variance + edge.counting_error_cents**2)
            known = reached.get(edge.tune)
            if known is None or total < known.accuracy_cents * (1 - 1e-12):
                reached[edge.tune] = replace(edge, accuracy_cents=total)
                heappush(queue, (total**2, pushed, edge.tune))
                pushed += 1


def _in_playing_order(
    instrument: Instrument, reached: Mapping[TuningPoint, TuningStep]
) -> tuple[TuningStep, ...]:
    """Open strings first, then change after change, each step after what it is heard against."""
    rank = {change.name: number for number, change in enumerate(instrument.changes, start=1)}
    waiting: dict[Node, list[TuningStep]] = {}
    for step in reached.values():
        waiting.setdefault(step.against, []).append(step)
    queue: list[tuple[tuple[int, ...], float, TuningPoint]] = []

    def release(node: Node) -> None:
        for step in waiting.get(node, ()):
            order = tuple(sorted(rank[name] for name in step.tune.changes))
            heappush(queue, ((len(order), *order), step.accuracy_cents, step.tune))

    for start in [node for node in waiting if isinstance(node, Reference)]:
        release(start)
    steps = []
    while queue:
        _, _, point = heappop(queue)
        steps.append(reached[point])
        release(point)
    return tuple(steps)


def _checks(steps: Sequence[TuningStep], edges: Sequence[TuningStep]) -> tuple[Check, ...]:
    """The loops that tell most: where the tree's own error is largest beside that of counting the check."""
    tree = {step.tune: step for step in steps}
    used = {frozenset((step.tune, step.against)) for step in steps}
    told: dict[frozenset[Node], tuple[float, float, TuningStep]] = {}
    for edge in edges:
        pair = frozenset((edge.tune, edge.against))
        if pair in used or not isinstance(edge.against, TuningPoint):
            continue
        loop = _variance_between(edge.tune, edge.against, tree)
        if pair not in told or edge.counting_error_cents < told[pair][2].counting_error_cents:
            told[pair] = (loop / edge.counting_error_cents**2, loop, edge)
    times: dict[Node, int] = {}
    checks = []
    for _, loop, edge in sorted(told.values(), key=lambda each: -each[0]):
        if any(times.get(node, 0) >= 2 for node in (edge.tune, edge.against)):
            continue
        for node in (edge.tune, edge.against):
            times[node] = times.get(node, 0) + 1
        per_cent = edge.ratio.upper * edge.low_hz * log(2) / 1200
        within = 2 * sqrt(loop + edge.counting_error_cents**2) * per_cent
        low, high = (edge.against, edge.tune) if edge.tune_is_high else (edge.tune, edge.against)
        checks.append(
            Check(
                low,
                high,
                edge.state,
                edge.fret,
                edge.ratio,
                edge.beats_per_second,
                edge.coincident_hz,
                within,
            )
        )
        if len(checks) == _MOST_CHECKS:
            break
    return tuple(checks)


def _variance_between(
    first: TuningPoint, second: TuningPoint, tree: Mapping[TuningPoint, TuningStep]
) -> float:
    """Variance of the interval between two points: of the steps that only one of them rests on."""

    def steps_to(node: Node) -> dict[TuningPoint, float]:
        found: dict[TuningPoint, float] = {}
        while isinstance(node, TuningPoint):
            found[node] = tree[node].counting_error_cents ** 2
            node = tree[node].against
        return found

    one, other = steps_to(first), steps_to(second)
    return sum(variance for node, variance in (one | other).items() if (node in one) != (node in other))
