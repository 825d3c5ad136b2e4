"""The best offset for every tuning point of a scene, and who pays for it.

Conventions: an *objective* measures intervals in cents from just or in beats per second; least squares makes
the sum of squares least, least worst the largest one. The *price* of a pin or a limit is how fast the
objective would fall if it gave way by a cent: root mean square or worst, of all that was asked.
"""

from collections.abc import Mapping
from contextlib import AbstractContextManager
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.errors import BadValue
from tonegen.frozen import Frozen
from tonegen.instrument import TuningPoint
from tonegen.pitch import hz_from_key
from tonegen.temperament import OwnTemperament
from tonegen.tempering.convex import (
    Infeasible,
    Optimum,
    least_squares,
    least_worst,
)
from tonegen.tempering.demands import DemandKind, Demands, demands_of
from tonegen.tempering.limits import Limits, conflict_of, limits_of, refuse_broken_pins
from tonegen.tempering.purity import GripPurity, purity_of
from tonegen.tempering.scene import Scene, WantedGrip
from tonegen.tempering.wishes import Contradiction, Undetermined, contradictions_of, undetermined_of

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
class Tempered(Frozen):
    """The solution of a scene.

    offsets : in cents, of scene.points(), in order. value : the objective, root mean square or worst error,
    with its unit in `objective`. residual : of the optimality conditions for least squares (KKT), the duality
    gap for least worst; both near 0 prove the optimum. filled : points that no grip asks about, which have
    their offset from the same note on other strings.
    """

    demands: Demands
    objective: Objective
    offsets: Array
    value: float
    residual: float
    binding: tuple[Binding, ...]
    filled: frozenset[TuningPoint] = frozenset()

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
    def not_asked(self) -> frozenset[TuningPoint]:
        """The points in no grip, which stay where they stood; pins are asked for, and what is filled counts.

        >>> from tonegen.presets.scenes import scene
        >>> TuningPoint(1, ("G",)) in temper(scene("e9-dance-band")).not_asked
        True
        """
        return _not_asked(self.demands) - self.filled

    @property
    def moved_cents(self) -> Mapping[TuningPoint, float]:
        """Offset of every tuning point but those that are not asked."""
        left = self.not_asked
        return {point: cents for point, cents in self.offsets_cents.items() if point not in left}

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
        scene = self.scene
        return OwnTemperament(
            name, scene.instrument.name, self.offsets_cents, title, scene.context, self.not_asked
        )

    @property
    def worst_row(self) -> int:
        """Which demand is worst, by the objective; of those that are so alike, the first that weighs least.

        >>> from tonegen.presets.scenes import scene
        >>> solved = temper(scene("e9-dance-band"), Objective.WORST_BEATS)
        >>> solved.demands.demands[solved.worst_row].name
        'E major 3-4-5-6-8-10'
        """
        error = np.abs(self.demands.cents_from_just(self.offsets) * _scale(self.demands, self.objective))
        # Several are worst at an optimum, equal but for rounding, which differs between machines.
        alike = error >= error.max() * (1 - 1e-6)
        return int(np.where(alike, 1 / self.demands.worst_weight, 0).argmax())

    def grips(self) -> tuple[GripPurity, ...]:
        """Every interval of every grip before and after, in the scene's order."""
        return purity_of(self.demands, offsets_before(self.demands), self.offsets)

    def contradictions(self, least_apart_cents: float = 2.0) -> tuple[Contradiction, ...]:
        """The points that two grips want apart, the widest first; one for each point.

        >>> from tonegen.presets.scenes import scene
        >>> widest = temper(scene("e9-dance-band")).contradictions()[0]
        >>> widest.names, round(widest.apart_cents, 1)
        (('F# suspended 2 C 6-5-4', 'F# minor B+C 3-4-5-6-7 against bass'), 22.5)
        """
        return contradictions_of(self.demands, self.offsets, least_apart_cents)

    def undetermined(self) -> tuple[Undetermined, ...]:
        """The points that neither grips nor pins nor the band decide."""
        return undetermined_of(self.demands, self.filled)


def temper(scene: Scene, objective: Objective = Objective.BEATS) -> Tempered:
    """Solve a scene. Raises BadValue naming the few pins and limits that conflict.

    >>> from tonegen.presets.scenes import scene
    >>> solved = temper(scene("e9-dance-band"))
    >>> round(solved.value, 2), solved.residual < 1e-9  # beats per second, and the proof
    (3.49, True)
    """
    return temper_demands(demands_of(scene), objective)


def temper_within(
    demands: Demands, objective: Objective, kind: DemandKind, other: DemandKind, bound: float
) -> Array:
    """Offsets with the least worst error of one kind of demand where that of the other is within a bound."""
    scale = _scale(demands, objective)
    rows, wanted = demands.coefficients * scale[:, None], demands.wanted_cents * scale
    held, free = _held(demands)
    limits = limits_of(demands, _not_asked(demands))
    chosen, bounded = demands.of_kind(kind), demands.of_kind(other)
    limit_rows = np.vstack([limits.rows, rows[bounded], -rows[bounded]])
    least = np.concatenate([limits.least, wanted[bounded] - bound, -wanted[bounded] - bound])
    offsets = held.copy()
    with _one_thread():
        offsets[free] = least_worst(
            rows[chosen][:, free], wanted[chosen] - rows[chosen] @ held, limit_rows[:, free],
            least - limit_rows @ held,
        ).x  # fmt: skip
    return offsets


def temper_demands(demands: Demands, objective: Objective) -> Tempered:
    """Solve demands that are already written down."""
    pinned = {pin.point: pin.cents for pin in demands.scene.pins}
    held, free = _held(demands)
    scale = _scale(demands, objective)
    rows = demands.coefficients * scale[:, None]
    wanted = demands.wanted_cents * scale - rows @ held
    limits = limits_of(demands, _not_asked(demands))
    limit_values = limits.least - limits.rows @ held
    solve = least_worst if objective.of_worst else least_squares
    try:
        refuse_broken_pins(limits.rows[:, free], limit_values)
        with _one_thread():
            optimum = solve(rows[:, free], wanted, limits.rows[:, free], limit_values)
    except Infeasible:
        raise BadValue(conflict_of(demands, limits, pinned)) from None
    offsets = held.copy()
    offsets[free] = optimum.x
    total = float(demands.squares_weight.sum()) if not objective.of_worst else 1.0
    value = optimum.value if objective.of_worst else float(np.sqrt(2 * optimum.value / max(total, 1e-300)))
    error = rows @ offsets - demands.wanted_cents * scale
    binding = _binding(demands, objective, optimum, free, limits, rows, error, value, total)
    return Tempered(demands, objective, offsets, value, optimum.residual, binding)


def _one_thread() -> AbstractContextManager[object]:
    # Matrices so small gain nothing from threads, and threads that wait for each other beside a sounding
    # engine were measured to cost thirty times the work.
    from threadpoolctl import threadpool_limits

    limited: AbstractContextManager[object] = threadpool_limits(1, user_api="blas")
    return limited


def _held(demands: Demands) -> tuple[Array, NDArray[np.bool_]]:
    """Offsets of the points that stand still, 0 for the others, and which those others are; both (n,)."""
    cents = _left_alone(demands) | {pin.point: pin.cents for pin in demands.scene.pins}
    held = np.array([cents.get(point, 0.0) for point in demands.points])
    return held, np.array([point not in cents for point in demands.points], dtype=bool)


def offsets_before(demands: Demands) -> Array:
    """Offsets of the points in the temperament that the scene starts from; shape (n,).

    >>> from tonegen.presets.scenes import scene
    >>> bool(offsets_before(demands_of(scene("e9-dance-band"))).any())  # it starts from equal temperament
    False
    """
    scene = demands.scene
    return np.array([scene.before.offset_cents(scene.instrument, point) for point in demands.points])


def _not_asked(demands: Demands) -> frozenset[TuningPoint]:
    pinned = {pin.point for pin in demands.scene.pins}
    asked = zip(demands.points, demands.asked(), strict=True)
    return frozenset(point for point, is_asked in asked if not is_asked and point not in pinned)


def _left_alone(demands: Demands) -> dict[TuningPoint, float]:
    """Points that no grip asks anything of, where the player has them.

    What stands in the file that is saved over stays; else they are where they were before, or at the edge of
    their limits.
    """
    scene, left = demands.scene, _not_asked(demands)
    cents = {}
    for point, before in zip(demands.points, offsets_before(demands), strict=True):
        if point in left:
            kept = None if scene.kept is None else scene.kept.given(point)
            cents[point] = scene.limited(point, float(before)) if kept is None else kept
    return cents


def _scale(demands: Demands, objective: Objective) -> Array:
    """What each equation in cents is multiplied by to become an error of the objective."""
    if objective.of_worst:
        return demands.worst_weight * (demands.worst_slope if objective.in_beats else 1.0)
    return np.sqrt(demands.squares_weight) * (demands.rms_slope if objective.in_beats else 1.0)


def _binding(
    demands: Demands,
    objective: Objective,
    optimum: Optimum,
    free: NDArray[np.bool_],
    limits: Limits,
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
    grips: dict[str, tuple[WantedGrip, float]] = {}
    for place, multiplier in enumerate(map(float, optimum.multipliers * per_unit)):
        about = limits.about[place]
        if isinstance(about, WantedGrip):  # a cent more is a cent more for each of its intervals
            before = grips.get(about.grip.name, (about, 0.0))[1]
            grips[about.grip.name] = about, before + multiplier
        elif multiplier > _PRICE_SHOWN:
            towards = -1 if limits.rows[place].sum() > 0 else 1
            words = limits.words[place]
            found.append(Binding("limit", words, about, multiplier, multiplier * in_beats, towards))
    for wanted, price in grips.values():
        if price > _PRICE_SHOWN:
            words = f"every interval of {wanted.grip.name} within {wanted.within_cents:g} cents"
            found.append(Binding("limit", words, None, price, price * in_beats, 0))
    return tuple(sorted(found, key=lambda each: -each.price))
