"""What the grips wish apart: one point at two pitches, and points of which nobody says enough."""

from collections.abc import Collection
from dataclasses import dataclass
from itertools import groupby
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.instrument import TuningPoint
from tonegen.interval import FASTEST_COUNTABLE_BEATS_PER_SECOND
from tonegen.tempering.convex import undetermined_directions
from tonegen.tempering.demands import DemandKind, Demands
from tonegen.words import beats_a_second

Array = NDArray[np.float64]


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
        return f"{self.why} ({', '.join(map(str, self.points))})"


def contradictions_of(
    demands: Demands, offsets: Array, least_apart_cents: float
) -> tuple[Contradiction, ...]:
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
            push = demands.squares_weight[group] * (demands.rms_slope[group] * share) ** 2
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


def undetermined_of(demands: Demands, filled: Collection[TuningPoint] = ()) -> tuple[Undetermined, ...]:
    """Points in no grip, nor filled, and groups that nothing ties to a pitch: components of the equations."""
    pinned = {pin.point for pin in demands.scene.pins} | set(filled)
    open_columns = [index for index, point in enumerate(demands.points) if point not in pinned]
    touched = demands.coefficients[:, open_columns] != 0
    found = []
    alone = [demands.points[open_columns[c]] for c in np.flatnonzero(~touched.any(axis=0))]
    if alone:
        found.append(
            Undetermined(
                tuple(alone),
                "Not in the grips you picked: left as they were",
            )
        )
    for group in _components(touched):
        part = demands.coefficients[touched[:, group].any(axis=1)][:, [open_columns[c] for c in group]]
        if len(undetermined_directions(part)):
            points = tuple(demands.points[open_columns[c]] for c in group)
            found.append(
                Undetermined(
                    points, "Tied only to each other: pin one of them, or name a band, to set their pitch"
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
