"""Limits of points and of grips as linear inequalities, and which few of them conflict."""

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tonegen.frozen import Frozen
from tonegen.instrument import TuningPoint
from tonegen.tempering.convex import Infeasible, conflicting
from tonegen.tempering.demands import DemandKind, Demands
from tonegen.tempering.scene import WantedGrip
from tonegen.words import signed

Array = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Limits(Frozen):
    """rows @ offsets >= least, each with its words, and the point or the grip that it is about."""

    rows: Array
    least: Array
    words: tuple[str, ...]
    about: tuple[TuningPoint | WantedGrip, ...]


def limits_of(demands: Demands, left: Collection[TuningPoint] = ()) -> Limits:
    """Every limit of a scene: of its points but those that are `left` as they are, and of its grips."""
    column = {point: index for index, point in enumerate(demands.points)}
    rows, least, words = [], [], []
    about: list[TuningPoint | WantedGrip] = []
    for limit in demands.scene.limits:
        if limit.point in left:
            continue
        for side, edge in ((1.0, limit.from_cents), (-1.0, limit.to_cents)):
            row = np.zeros(len(demands.points))
            row[column[limit.point]] = side
            rows.append(row)
            least.append(side * edge)
            words.append(f"{limit.point} at {'least' if side > 0 else 'most'} {signed(edge, None)} cents")
            about.append(limit.point)
    for index, demand in enumerate(demands.demands):
        if demand.kind is not DemandKind.GRIP or demand.wanted is None or demand.wanted.within_cents is None:
            continue
        at = f", fret {demand.frets[0]:g}" if len(demand.frets) < len(demand.wanted.frets) else ""
        for side in (1.0, -1.0):
            rows.append(side * demands.coefficients[index])
            least.append(side * demands.wanted_cents[index] - demand.wanted.within_cents)
            words.append(
                f"{demand.low.label} to {demand.high.label} within {demand.wanted.within_cents:g} cents "
                f"of {demand.ratio} in {demand.name}{at}"
            )
            about.append(demand.wanted)
    stacked = np.array(rows).reshape(-1, len(demands.points))
    return Limits(stacked, np.array(least), tuple(words), tuple(about))


def refuse_broken_pins(rows: Array, least: Array) -> None:
    """Limits that the pins alone decide are not seen by the solver."""
    decided = ~rows.any(axis=1)
    if (least[decided] > 1e-9).any():
        raise Infeasible("a pin stands outside a limit")


def conflict_of(demands: Demands, limits: Limits, pinned: Mapping[TuningPoint, float]) -> str:
    """The few pins and limits that cannot all hold, in plain words."""
    column = {point: index for index, point in enumerate(demands.points)}
    rows, least, words = [limits.rows], [limits.least], list(limits.words)
    for point, cents in pinned.items():
        for side in (1.0, -1.0):
            row = np.zeros((1, len(demands.points)))
            row[0, column[point]] = side
            rows.append(row)
            least.append(np.array([side * cents]))
            words.append(f"{point} pinned at {signed(round(cents, 6), None)} cents")
    few = conflicting(np.vstack(rows), np.concatenate(least))
    named = list(dict.fromkeys(words[index] for index in few))
    return f"no tuning meets all of these; give one of them up: {'; '.join(named)}"
