"""The trade-off between "agrees with the band" and "pure with itself": the Pareto front of a scene.

At every point of the front neither can be had better without making the other worse.
"""

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.errors import BadValue
from tonegen.tempering.demands import DemandKind, Demands, demands_of
from tonegen.tempering.scene import Scene
from tonegen.tempering.temper import Objective, offsets_before, temper_demands, temper_within

Array = NDArray[np.float64]

POINTS: Final = 25
# From "the band hardly counts" to "the grips hardly count": weights of 1 in 10,000 either way.
_DECADES: Final = 4.0
_CLOSEST_WEIGHTS: Final = 1e-3  # natural logarithm of their ratio
_ROUNDING: Final = 1e-9  # by which a bound gives way, so that what met it still does
_ALIKE: Final = 1e-7  # cents or beats per second that nobody hears


@dataclass(frozen=True, slots=True)
class FrontPoint:
    """One tuning on the front.

    band_weight : the band's weights are multiplied by it, the grips' being as in the scene.
    self_error, band_error : root mean square or worst error of the grips, and of the band, in the unit of the
        objective.
    offsets_cents : of the scene's points, in order.
    """

    band_weight: float
    self_error: float
    band_error: float
    offsets_cents: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Front:
    """The trade-off of a scene, from pure with itself to agreeing with the band.

    chosen : what the scene's own weights give, on the front, for a worst error on it or just above.
    before : (self_error, band_error) of the temperament that the scene starts from, most likely far from it.
    """

    scene: Scene
    objective: Objective
    points: tuple[FrontPoint, ...]
    chosen: FrontPoint
    before: tuple[float, float]

    def picture(self, width: int = 48, height: int = 12) -> str:
        """The front as lines of text: the grips' error upward, the band's error to the right."""
        places = [(point.self_error, point.band_error) for point in (*self.points, self.chosen)]
        up, across = np.array([*places, self.before]).T
        cells = [[" "] * width for _ in range(height)]
        marks = ["o"] * len(self.points) + ["X", "B"]
        for x, y, mark in zip(_placed(across, width), _placed(up, height), marks, strict=True):
            cells[height - 1 - y][x] = mark
        lines = [f"{up.max():8.2f} ┤" if row == 0 else "         │" for row in range(height)]
        lines[-1] = f"{up.min():8.2f} ┤"
        drawn = [line + "".join(row).rstrip() for line, row in zip(lines, cells, strict=True)]
        scale = f"{across.min():<.2f}{'':{width - 8}}{across.max():.2f}"
        unit = self.objective.unit
        return "\n".join([
            f"with itself, {unit}",
            *drawn,
            f"         └{'─' * width}",
            f"          {scale}",
            f"          with the band, {unit}",
            f"          X: chosen, by the scene's weights   B: before, {self.scene.before.name}",
        ])  # fmt: skip


def front_of(scene: Scene, objective: Objective = Objective.BEATS, count: int = POINTS) -> Front:
    """The Pareto front over the band's weight, in `count` points spread evenly along it.

    There are fewer where the best of both can be had at once: then there is nothing to trade.

    Weights reach every point of it, for each objective is convex: sums of squares are weighed against each
    other, and so are worst errors, where the worst of the band times its weight is held against the worst of
    the grips. Raises BadValue when the scene has no band.
    """
    demands = demands_of(scene)
    if not demands.of_kind(DemandKind.BAND).any():
        raise BadValue(f"scene {scene.name} has no band to agree with; add a [[band]] part that plays along")
    found = [_point(demands, objective, 10.0**decades) for decades in (-_DECADES, _DECADES)]
    for _ in range(3 * count):
        if len(_undominated(found)) >= count:
            break
        gap = _widest_gap(found)
        if gap is None:
            break
        middle = float(np.sqrt(found[gap].band_weight * found[gap + 1].band_weight))
        found.insert(gap + 1, _point(demands, objective, middle))
    now = offsets_before(demands)
    before = (
        _error(demands, objective, now, DemandKind.GRIP),
        _error(demands, objective, now, DemandKind.BAND),
    )
    chosen = _measured(demands, objective, 1.0, temper_demands(demands, objective).offsets)
    return Front(scene, objective, tuple(_undominated(found)), chosen, before)


def _undominated(points: list[FrontPoint]) -> list[FrontPoint]:
    """Those that no other beats in one respect without losing in the other, each only once."""

    def beaten(place: int) -> bool:
        point = points[place]
        for other_place, other in enumerate(points):
            with_itself = other.self_error - point.self_error
            with_band = other.band_error - point.band_error
            if max(with_itself, with_band) <= _ALIKE:
                alike = min(with_itself, with_band) >= -_ALIKE
                if not alike or other_place < place:
                    return True
        return False

    return [point for place, point in enumerate(points) if not beaten(place)]


def _widest_gap(points: list[FrontPoint]) -> int | None:
    """Where two neighbours lie furthest apart, each axis by its own span; none when all lie together.

    At least one of the two must be on the front, so that its ends are found as well.
    """
    places = np.array([(point.self_error, point.band_error) for point in points])
    span = np.ptp(places, axis=0)
    if (span < _ALIKE).all():
        return None
    kept = _undominated(points)
    near = np.array([before in kept or after in kept for before, after in pairwise(points)])
    steps = np.diff(places / np.where(span < _ALIKE, 1.0, span), axis=0)
    ratio = np.diff(np.log([point.band_weight for point in points]))
    apart = np.where(near & (ratio > _CLOSEST_WEIGHTS), np.hypot(*steps.T), 0.0)
    return int(apart.argmax()) if apart.max() > 0 else None


def _point(demands: Demands, objective: Objective, band_weight: float) -> FrontPoint:
    factor = np.where(demands.of_kind(DemandKind.BAND), band_weight, 1.0)
    weighed = replace(
        demands,
        squares_weight=demands.squares_weight * factor,
        worst_weight=demands.worst_weight * factor,
    )
    offsets = temper_demands(weighed, objective).offsets
    if objective.of_worst:
        offsets = _undominated_worst(demands, objective, offsets)
    return _measured(demands, objective, band_weight, offsets)


def _measured(demands: Demands, objective: Objective, band_weight: float, offsets: Array) -> FrontPoint:
    grips = _error(demands, objective, offsets, DemandKind.GRIP)
    band = _error(demands, objective, offsets, DemandKind.BAND)
    return FrontPoint(band_weight, grips, band, tuple(map(float, offsets)))


def _undominated_worst(demands: Demands, objective: Objective, offsets: Array) -> Array:
    """Offsets that nothing beats, from those with the least of two worst errors, weighed against each other.

    Where one of the two decides, the other is only held below it; so the worst of the grips is made least
    where the band is no worse, then that of the band where the grips are no worse.
    """
    for kind, other in ((DemandKind.GRIP, DemandKind.BAND), (DemandKind.BAND, DemandKind.GRIP)):
        bound = _error(demands, objective, offsets, other) * (1 + _ROUNDING) + _ROUNDING
        offsets = temper_within(demands, objective, kind, other, bound)
    return offsets


def _error(demands: Demands, objective: Objective, offsets: Array, kind: DemandKind) -> float:
    """Root mean square or worst error of one kind of demand, by the weights that `demands` has."""
    chosen = demands.of_kind(kind)
    errors = demands.cents_from_just(offsets)[chosen]
    if objective.of_worst:
        slope = demands.worst_slope[chosen] if objective.in_beats else 1.0
        return float(np.abs(errors * slope * demands.worst_weight[chosen]).max())
    slope = demands.rms_slope[chosen] if objective.in_beats else 1.0
    weight = demands.squares_weight[chosen]
    return float(np.sqrt(weight @ (errors * slope) ** 2 / weight.sum()))


def _placed(values: Array, cells: int) -> list[int]:
    span = float(values.max() - values.min()) or 1.0
    return [round(float((value - values.min()) / span * (cells - 1))) for value in values]
