"""The best offset for every tuning point of a scene, and who pays for it.

Conventions: an *objective* measures intervals in cents from just or in beats per second; least squares makes
the sum of squares least, least worst the largest one. The *price* of a pin or a limit is how fast the
objective would fall if it gave way by a cent: root mean square or worst, of all that was asked.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from itertools import groupby
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.errors import BadValue
from tonegen.frozen import Frozen
from tonegen.instrument import TuningPoint
from tonegen.interval import FASTEST_COUNTABLE_BEATS_PER_SECOND, Ratio, partial_hz
from tonegen.pitch import hz_from_key
from tonegen.temperament import OwnTemperament
from tonegen.tempering.convex import (
    Infeasible,
    Optimum,
    conflicting,
    least_squares,
    least_worst,
    undetermined_directions,
)
from tonegen.tempering.demands import DemandKind, Demands, DemandVoice, demands_of
from tonegen.tempering.scene import Scene, WantedGrip
from tonegen.words import beats_a_second, signed

Array = NDArray[np.float64]

_PRICE_SHOWN: Final = 1e-7


class Objective(StrEnum):
    """What is made least."""

    CENTS = "cents"
    BEATS = "beats"
    WORST_CENTS = "worst-cents"
    WORST_BEATS = "worst-beats"

    @property
    def in_beats(self) -> bool:
        """Whether errors are beats per second rather than cents.

        >>> Objective.WORST_BEATS.in_beats, Objective.CENTS.in_beats
        (True, False)
        """
        return self in (Objective.BEATS, Objective.WORST_BEATS)

    @property
    def of_worst(self) -> bool:
        """Whether the worst error counts rather than all of them.

        >>> Objective.WORST_BEATS.of_worst, Objective.BEATS.of_worst
        (True, False)
        """
        return self in (Objective.WORST_CENTS, Objective.WORST_BEATS)

    @property
    def unit(self) -> str:
        """Of an error.

        >>> Objective.BEATS.unit
        'beats per second'
        """
        return "beats per second" if self.in_beats else "cents"


@dataclass(frozen=True, slots=True)
class Purity:
    """How an interval sounds: cents from just and beats per second, both positive when it is wide."""

    cents_from_just: float
    beats_per_second: float


@dataclass(frozen=True, slots=True)
class IntervalPurity:
    """One interval before and after; partial `ratio.upper` of the low tone meets `ratio.lower` of the high.

    Beats are at `fret`, the first of those that matter.
    """

    low: DemandVoice
    high: DemandVoice
    ratio: Ratio
    before: Purity
    after: Purity
    coincident_hz: float
    fret: float
    against: str = ""


@dataclass(frozen=True, slots=True)
class GripPurity:
    """The intervals of one grip, those against the band at the end."""

    wanted: WantedGrip
    intervals: tuple[IntervalPurity, ...]


@dataclass(frozen=True, slots=True)
class Binding:
    """A pin or a limit that holds the result back.

    price : of one cent, in the unit of the objective; towards : +1 if higher would be better, -1 if lower.
    price_beats_per_cent : the same in beats, by the slopes of the intervals that pay, each by its share.
    """

    kind: str
    what: str
    point: TuningPoint | None
    price: float
    price_beats_per_cent: float
    towards: int


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Two grips that want one tuning point at two pitches, the other points standing where they ended.

    wanted_cents, beats_per_second : the offset that each would choose, and its worst rate at this point.
    """

    point: TuningPoint
    names: tuple[str, str]
    roles: tuple[str, str]
    wanted_cents: tuple[float, float]
    beats_per_second: tuple[float, float]

    @property
    def apart_cents(self) -> float:
        """How far the two wishes lie apart."""
        return abs(self.wanted_cents[1] - self.wanted_cents[0])

    def __str__(self) -> str:
        """In plain words."""
        places = [
            f"{_degree_name(role)} in {name}" if role else f"in {name}"
            for role, name in zip(self.roles, self.names, strict=True)
        ]
        first, second = map(_cost, self.beats_per_second)
        if "roughness" not in (first, second):
            second = second.removesuffix(" beats a second")
        return (
            f"{self.point} is {places[0]} and {places[1]}: they want it {self.apart_cents:.1f} cents apart; "
            f"the compromise costs {first} in one and {second} in the other"
        )


@dataclass(frozen=True, slots=True)
class Undetermined:
    """Points that the scene says too little about; they got the smallest offsets that serve."""

    points: tuple[TuningPoint, ...]
    why: str

    def __str__(self) -> str:
        """In plain words."""
        return f"{self.why}: {', '.join(map(str, self.points))}"


@dataclass(frozen=True, slots=True)
class Tempered(Frozen):
    """The solution of a scene.

    offsets : in cents, of scene.points(), in order. value : the objective, root mean square or worst error,
    with its unit in `objective`. residual : of the optimality conditions for least squares (KKT), the duality
    gap for least worst; both near 0 prove the optimum.
    """

    demands: Demands
    objective: Objective
    offsets: Array
    value: float
    residual: float
    binding: tuple[Binding, ...]

    @property
    def scene(self) -> Scene:
        """What was asked."""
        return self.demands.scene

    @property
    def offsets_cents(self) -> Mapping[TuningPoint, float]:
        """Offset of every tuning point.

        >>> from tonegen.presets.scenes import scene
        >>> temper(scene("e9-dance-band")).offsets_cents[TuningPoint(8)]  # pinned there
        3.0
        """
        return dict(zip(self.demands.points, map(float, self.offsets), strict=True))

    @property
    def moved_cents(self) -> Mapping[TuningPoint, float]:
        """Offset of every tuning point but those in no grip, which stay where they stood; pins are given."""
        pinned = {pin.point for pin in self.scene.pins}
        asked = dict(zip(self.demands.points, self.demands.asked(), strict=True))
        return {
            point: cents for point, cents in self.offsets_cents.items() if asked[point] or point in pinned
        }

    def hz(self, point: TuningPoint) -> float:
        """Frequency of a point when it alone is engaged: what a meter must read.

        >>> from tonegen.presets.scenes import scene
        >>> round(temper(scene("e9-dance-band")).hz(TuningPoint(8)), 2)
        165.1
        """
        key = self.scene.instrument.key(point)
        return float(hz_from_key(key, self.offsets_cents[point], self.scene.reference_hz))

    def temperament(self, name: str) -> OwnTemperament:
        """The offsets as the player's own temperament."""
        title = f"Tempered for {self.scene.title or self.scene.name}, to minimise {self.objective.value}"
        return OwnTemperament(name, self.scene.instrument.name, self.offsets_cents, title)

    def grips(self) -> tuple[GripPurity, ...]:
        """Every interval of every grip before and after, in the scene's order."""
        return purity_of(self.demands, offsets_before(self.demands), self.offsets)

    def contradictions(self, least_apart_cents: float = 2.0) -> tuple[Contradiction, ...]:
        """The points that two grips want apart, the widest first; one for each point.

        >>> from tonegen.presets.scenes import scene
        >>> widest = temper(scene("e9-dance-band")).contradictions()[0]
        >>> widest.names, round(widest.apart_cents, 1)
        (('F# minor B+C 3-4-5-6-7', 'E 9 9-8-7-6-5'), 21.1)
        """
        return _contradictions(self.demands, self.offsets, least_apart_cents)

    def undetermined(self) -> tuple[Undetermined, ...]:
        """The points that neither grips nor pins nor the band decide."""
        return _undetermined(self.demands)


def temper(scene: Scene, objective: Objective = Objective.BEATS) -> Tempered:
    """Solve a scene. Raises BadValue naming the few pins and limits that conflict.

    >>> from tonegen.presets.scenes import scene
    >>> solved = temper(scene("e9-dance-band"))
    >>> round(solved.value, 2), solved.residual < 1e-9  # beats per second, and the proof
    (3.03, True)
    """
    return temper_demands(demands_of(scene), objective)


def temper_demands(demands: Demands, objective: Objective) -> Tempered:
    """Solve demands that are already written down."""
    from threadpoolctl import threadpool_limits

    scene = demands.scene
    pinned = {pin.point: pin.cents for pin in scene.pins}
    held_cents = _left_alone(demands) | pinned
    free = np.array([point not in held_cents for point in demands.points], dtype=bool)
    held = np.array([held_cents.get(point, 0.0) for point in demands.points])
    scale = _scale(demands, objective)
    rows = demands.coefficients * scale[:, None]
    wanted = demands.wanted_cents * scale - rows @ held
    limits = _limits(demands)
    limit_values = limits.least - limits.rows @ held
    solve = least_worst if objective.of_worst else least_squares
    try:
        _refuse_broken_pins(limits.rows[:, free], limit_values)
        # Matrices so small gain nothing from threads, and threads that wait for each other beside a sounding
        # engine were measured to cost thirty times the work.
        with threadpool_limits(1, user_api="blas"):
            optimum = solve(rows[:, free], wanted, limits.rows[:, free], limit_values)
    except Infeasible:
        raise BadValue(_conflict(demands, limits, pinned)) from None
    offsets = held.copy()
    offsets[free] = optimum.x
    total = float(demands.squares_weight.sum()) if not objective.of_worst else 1.0
    value = optimum.value if objective.of_worst else float(np.sqrt(2 * optimum.value / max(total, 1e-300)))
    error = rows @ offsets - demands.wanted_cents * scale
    binding = _binding(demands, objective, optimum, free, limits, rows, error, value, total)
    return Tempered(demands, objective, offsets, value, optimum.residual, binding)


def offsets_before(demands: Demands) -> Array:
    """Offsets of the points in the temperament that the scene starts from; shape (n,).

    >>> from tonegen.presets.scenes import scene
    >>> bool(offsets_before(demands_of(scene("e9-dance-band"))).any())  # it starts from equal temperament
    False
    """
    scene = demands.scene
    return np.array([scene.before.offset_cents(scene.instrument, point) for point in demands.points])


def _left_alone(demands: Demands) -> dict[TuningPoint, float]:
    """Points that no grip asks anything of, where they stood before, or at the edge of their limits."""
    stood = zip(demands.points, demands.asked(), offsets_before(demands), strict=True)
    cents = {point: float(offset) for point, asked, offset in stood if not asked}
    for limit in demands.scene.limits:
        if limit.point in cents:
            cents[limit.point] = min(max(cents[limit.point], limit.from_cents), limit.to_cents)
    return cents


def purity_of(demands: Demands, before: Array, after: Array) -> tuple[GripPurity, ...]:
    """How every interval sounds with two sets of offsets; the pull has no sound and is left out."""
    upper = np.array([demand.ratio.upper for demand in demands.demands], dtype=float)
    lower = np.array([demand.ratio.lower for demand in demands.demands], dtype=float)
    sides = []
    for offsets in (before, after):
        low, high = demands.hz(offsets)
        low_partial, high_partial = partial_hz(low, upper), partial_hz(high, lower)
        sides.append((demands.cents_from_just(offsets), high_partial - low_partial))
    middle = (low_partial + high_partial) / 2
    found = []
    rows = [row for row, demand in enumerate(demands.demands) if demand.wanted is not None]
    for name, chosen in groupby(rows, key=lambda row: demands.demands[row].wanted):
        intervals = []
        for row in chosen:
            demand = demands.demands[row]
            was, now = (Purity(float(cents[row]), float(beats[row])) for cents, beats in sides)
            intervals.append(
                IntervalPurity(
                    demand.low,
                    demand.high,
                    demand.ratio,
                    was,
                    now,
                    float(middle[row]),
                    demand.frets[0],
                    demand.part,
                )
            )
        if name is not None:
            found.append(GripPurity(name, tuple(intervals)))
    return tuple(found)


def _scale(demands: Demands, objective: Objective) -> Array:
    """What each equation in cents is multiplied by to become an error of the objective."""
    if objective.of_worst:
        return demands.worst_weight * (demands.worst_slope if objective.in_beats else 1.0)
    return np.sqrt(demands.squares_weight) * (demands.rms_slope if objective.in_beats else 1.0)


@dataclass(frozen=True, slots=True)
class _Limits(Frozen):
    """rows @ offsets >= least, each with its words, and the point that it is about."""

    rows: Array
    least: Array
    words: tuple[str, ...]
    points: tuple[TuningPoint | None, ...]


def _limits(demands: Demands) -> _Limits:
    column = {point: index for index, point in enumerate(demands.points)}
    rows, least, words = [], [], []
    points: list[TuningPoint | None] = []
    for limit in demands.scene.limits:
        for side, edge in ((1.0, limit.from_cents), (-1.0, limit.to_cents)):
            row = np.zeros(len(demands.points))
            row[column[limit.point]] = side
            rows.append(row)
            least.append(side * edge)
            words.append(f"{limit.point} at {'least' if side > 0 else 'most'} {signed(edge, None)} cents")
            points.append(limit.point)
    for index, demand in enumerate(demands.demands):
        if demand.kind is not DemandKind.GRIP or demand.wanted is None or demand.wanted.within_cents is None:
            continue
        for side in (1.0, -1.0):
            rows.append(side * demands.coefficients[index])
            least.append(side * demands.wanted_cents[index] - demand.wanted.within_cents)
            words.append(
                f"{demand.low.label} to {demand.high.label} within {demand.wanted.within_cents:g} cents "
                f"of {demand.ratio} in {demand.name}"
            )
            points.append(None)
    stacked = np.array(rows).reshape(-1, len(demands.points))
    return _Limits(stacked, np.array(least), tuple(words), tuple(points))


def _refuse_broken_pins(rows: Array, least: Array) -> None:
    """Limits that the pins alone decide are not seen by the solver."""
    decided = ~rows.any(axis=1)
    if (least[decided] > 1e-9).any():
        raise Infeasible("a pin stands outside a limit")


def _conflict(demands: Demands, limits: _Limits, pinned: Mapping[TuningPoint, float]) -> str:
    """The few pins and limits that cannot all hold, in plain words."""
    column = {point: index for index, point in enumerate(demands.points)}
    rows, least, words = [limits.rows], [limits.least], list(limits.words)
    for point, cents in pinned.items():
        for side in (1.0, -1.0):
            row = np.zeros((1, len(demands.points)))
            row[0, column[point]] = side
            rows.append(row)
            least.append(np.array([side * cents]))
            words.append(f"{point} pinned at {signed(cents, None)} cents")
    few = conflicting(np.vstack(rows), np.concatenate(least))
    named = list(dict.fromkeys(words[index] for index in few))
    return f"no tuning meets all of these; give one of them up: {'; '.join(named)}"


def _binding(
    demands: Demands,
    objective: Objective,
    optimum: Optimum,
    free: NDArray[np.bool_],
    limits: _Limits,
    rows: Array,
    error: Array,
    value: float,
    total: float,
) -> tuple[Binding, ...]:
    """Pins and limits with their prices. The multipliers are of half the sum of squares, or of the worst."""
    per_unit = 1.0 if objective.of_worst else 1 / max(total * value, 1e-300)
    if value < 1e-9:
        return ()
    slope = demands.worst_slope if objective.of_worst else demands.rms_slope
    in_beats = 1.0 if objective.in_beats else float(optimum.shares @ slope)
    # The signed share of each row in the derivative of the objective.
    signed = optimum.shares * np.sign(error) if objective.of_worst else error
    gradient = rows.T @ signed - limits.rows.T @ optimum.multipliers
    found = []
    for index in np.flatnonzero(~free):
        price = float(gradient[index]) * per_unit
        if abs(price) > _PRICE_SHOWN:
            point = demands.points[index]
            words = f"{point}, pinned"
            found.append(
                Binding("pin", words, point, abs(price), abs(price) * in_beats, -1 if price > 0 else 1)
            )
    for place, multiplier in enumerate(optimum.multipliers * per_unit):
        if multiplier > _PRICE_SHOWN:
            point_of = limits.points[place]
            towards = 0 if point_of is None else (-1 if limits.rows[place].sum() > 0 else 1)
            found.append(
                Binding(
                    "limit",
                    limits.words[place],
                    point_of,
                    float(multiplier),
                    float(multiplier) * in_beats,
                    towards,
                )
            )
    return tuple(sorted(found, key=lambda each: -each.price))


def _contradictions(demands: Demands, offsets: Array, least_apart_cents: float) -> tuple[Contradiction, ...]:
    """For each point the two grips whose wishes lie furthest apart.

    What a grip wants of a point is the mean of what its intervals want, each by the square of its slope: the
    offset at which their beats would be least.
    """
    errors = demands.cents_from_just(offsets)
    rates = errors * demands.worst_slope
    wishes: dict[TuningPoint, list[tuple[float, str, str, float]]] = {}
    asked = ~demands.of_kind(DemandKind.PULL)
    for index, point in enumerate(demands.points):
        touching = np.flatnonzero(asked & (demands.coefficients[:, index] != 0))
        for name, chosen in groupby(touching, key=lambda row: demands.demands[row].name):
            group = np.array(list(chosen))
            share = demands.coefficients[group, index]
            push = (demands.rms_slope[group] * share) ** 2
            wish = float(offsets[index] - (push * errors[group] / share).sum() / push.sum())
            worst = float(rates[group][np.abs(rates[group]).argmax()])
            wishes.setdefault(point, []).append((wish, name, _role(demands, int(group[0]), point), worst))
    found = []
    for point, wanted in wishes.items():
        low, high = min(wanted), max(wanted)
        if high[0] - low[0] >= least_apart_cents:
            found.append(
                Contradiction(
                    point, (low[1], high[1]), (low[2], high[2]), (low[0], high[0]), (low[3], high[3])
                )
            )
    return tuple(sorted(found, key=lambda each: -each.apart_cents))


def _role(demands: Demands, row: int, point: TuningPoint) -> str:
    demand = demands.demands[row]
    for each in (demand.low, demand.high):
        if any(named == point for named, _ in each.terms):
            return each.role
    return ""


_DEGREE_NAMES: Final = {
    "1": "the root", "b2": "the flat second", "2": "the second", "b3": "the minor third", "3": "the third",
    "4": "the fourth", "#4": "the sharp fourth", "b5": "the flat fifth", "5": "the fifth",
    "#5": "the sharp fifth", "b6": "the flat sixth", "6": "the sixth", "bb7": "the diminished seventh",
    "b7": "the flat seventh", "7": "the major seventh", "b9": "the flat ninth", "9": "the ninth",
    "#9": "the sharp ninth", "11": "the eleventh", "#11": "the sharp eleventh", "13": "the thirteenth",
}  # fmt: skip


def _cost(beats_per_second: float) -> str:
    if abs(beats_per_second) > FASTEST_COUNTABLE_BEATS_PER_SECOND:
        return "roughness"
    return beats_a_second(beats_per_second)


def _degree_name(role: str) -> str:
    return _DEGREE_NAMES.get(role, role)


def _undetermined(demands: Demands) -> tuple[Undetermined, ...]:
    """Points in no grip, and groups that nothing ties to a pitch, found as components of the equations."""
    pinned = {pin.point for pin in demands.scene.pins}
    open_columns = [index for index, point in enumerate(demands.points) if point not in pinned]
    touched = demands.coefficients[:, open_columns] != 0
    found = []
    alone = [demands.points[open_columns[c]] for c in np.flatnonzero(~touched.any(axis=0))]
    if alone:
        found.append(
            Undetermined(
                tuple(alone),
                "Not in the grips you picked, so left as they were (or at their limit)",
            )
        )
    for group in _components(touched):
        part = demands.coefficients[touched[:, group].any(axis=1)][:, [open_columns[c] for c in group]]
        if len(undetermined_directions(part)):
            points = tuple(demands.points[open_columns[c]] for c in group)
            found.append(
                Undetermined(
                    points, "Tied only to each other (pin one of them, or name a band, to set their pitch)"
                )
            )
    return tuple(found)


def _components(touched: NDArray[np.bool_]) -> list[list[int]]:
    """Columns that meet in some row, directly or by way of others."""
    from scipy.sparse import csr_array
    from scipy.sparse.csgraph import connected_components

    met = csr_array(touched.T.astype(np.int64) @ touched.astype(np.int64))
    count, labels = connected_components(met, directed=False)
    groups = [np.flatnonzero(labels == label).tolist() for label in range(count)]
    return [group for group in groups if touched[:, group].any()]
