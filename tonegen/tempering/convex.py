"""Convex problems of the optimiser: least squares and least worst error, under linear inequalities.

Conventions: `rows @ x` should be `wanted`; `limit_rows @ x >= limits` must hold. Weights are already in the
rows. Where several x are equally good, least squares gives the one of least norm, and the least worst error
gives, of all x with that worst error, the one of least squares: so every answer is unique.
"""

from contextlib import suppress
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.errors import TonegenError
from tonegen.frozen import Frozen

Vector = NDArray[np.float64]
Matrix = NDArray[np.float64]

_RANK_TOLERANCE: Final = 1e-11  # relative to the largest singular value
_FEASIBLE: Final = 1e-9  # cents: far below anything that can be tuned
_MULTIPLIER: Final = 1e-9
_NOISE: Final = 1e-13  # relative: what rounding leaves where nothing should be
# The ridge that only helps to find which limits are active; the answer itself is then solved without it.
_RIDGES: Final = (1e-5, 1e-8, 1e-3)
_MOST_ROUNDS: Final = 100


class Infeasible(TonegenError):
    """No x meets the limits; the caller names those that conflict."""


class NotSolved(TonegenError):
    """The solver gave up; the data are too ill-conditioned to be answered honestly."""


@dataclass(frozen=True, slots=True)
class Optimum(Frozen):
    """The best x, with the proof.

    multipliers : of the limits, zero or above; how fast the objective falls as a limit is relaxed.
    residual : of the optimality conditions (least squares), or the duality gap (least worst error).
    The objective is half the sum of squares, or the worst error.
    """

    x: Vector
    multipliers: Vector
    residual: float
    value: float
    shares: Vector  # who pays: share of each row in the objective, summing to 1 (0 everywhere when it is 0)


def least_squares(rows: Matrix, wanted: Vector, limit_rows: Matrix, limits: Vector) -> Optimum:
    """Minimise |rows @ x - wanted|^2 / 2 where limit_rows @ x >= limits; of equal ones the least norm.

    Solved as a least distance problem by non-negative least squares, then again exactly on the limits that
    turned out active. Raises Infeasible. Source: Lawson & Hanson, Solving Least Squares Problems, ch. 23.

    >>> fifth_and_third = np.array([[1.0], [4.0]])
    >>> best = least_squares(fifth_and_third, np.array([0.0, -21.5]), np.zeros((0, 1)), np.zeros(0))
    >>> best.x.round(2).tolist(), best.residual < 1e-9
    ([-5.06], True)
    """
    none = np.zeros((0, rows.shape[1])), np.zeros(0)
    x, multipliers = _least_squares(*_compressed(rows, wanted), limit_rows, limits, *none)
    error = rows @ x - wanted
    gradient = rows.T @ error
    slack = limit_rows @ x - limits
    residual = max(
        _largest(gradient - limit_rows.T @ multipliers),
        _largest(np.minimum(slack, 0)),
        _largest(slack * multipliers),
    )
    squares = error**2
    total = float(squares.sum())
    shares = squares / total if total > 0 else squares
    return Optimum(x, multipliers, residual, total / 2, shares)


def least_worst(rows: Matrix, wanted: Vector, limit_rows: Matrix, limits: Vector) -> Optimum:
    """Minimise max |rows @ x - wanted| where limit_rows @ x >= limits, by HiGHS.

    Only the rows that can be the worst are given to the linear program; those that it leaves out are added
    until none is worse. The residual is the duality gap: the worst error of x less the bound that the dual
    values prove. Raises Infeasible.

    >>> opposed = least_worst(np.array([[1.0], [1.0]]), np.array([0.0, 4.0]), np.zeros((0, 1)), np.zeros(0))
    >>> opposed.x.round(6).tolist(), round(opposed.value, 6)
    ([2.0], 2.0)
    """
    compressed = _compressed(rows, wanted)
    none = np.zeros((0, rows.shape[1])), np.zeros(0)
    start = _least_squares_on(*compressed, *none)
    error = np.abs(rows @ start - wanted)
    batch = 3 * rows.shape[1] + 20
    working = np.sort(np.argsort(-error)[:batch])
    for _ in range(_MOST_ROUNDS):
        x, worst, signed, multipliers = _linear_program(rows[working], wanted[working], limit_rows, limits)
        error = np.abs(rows @ x - wanted)
        worse = np.flatnonzero(error > worst + _FEASIBLE)
        if not worse.size:
            break
        added = worse[np.argsort(-error[worse])[:batch]]
        working = np.union1d(working, added)
    else:
        raise NotSolved("the linear program did not finish; the weights are too far apart")
    dual = np.zeros(len(wanted))
    dual[working] = signed
    with suppress(NotSolved):  # then x is one of the optima, if not the most even of them
        x = _least_squares_at_worst(compressed, rows, wanted, limit_rows, limits, dual, multipliers)
    value = _largest(rows @ x - wanted)
    # Weak duality: for signed weights of the rows that sum to 1 and balance the limits, this bounds `value`.
    bound = float(limits @ multipliers - dual @ wanted)
    balance = _largest(rows.T @ dual - limit_rows.T @ multipliers)
    infeasible = _largest(np.minimum(limit_rows @ x - limits, 0))
    shares = np.abs(dual) / max(np.abs(dual).sum(), np.finfo(float).tiny)
    return Optimum(x, multipliers, max(abs(value - bound), balance, infeasible), value, shares)


def conflicting(limit_rows: Matrix, limits: Vector) -> NDArray[np.intp]:
    """A few limits that cannot all hold, none of which can be spared; empty when all can hold.

    Chinneck's elastic filter finds some, the deletion filter makes them few.

    >>> rows, least = np.array([[1.0], [-1.0], [1.0]]), np.array([2.0, -1.0, 0.0])  # x >= 2, x <= 1, x >= 0
    >>> [int(row) for row in conflicting(rows, least)]
    [0, 1]
    """
    from scipy.optimize import linprog

    def stretched(chosen: NDArray[np.intp]) -> tuple[float, Vector]:
        count, size = len(chosen), limit_rows.shape[1]
        solved = linprog(
            np.concatenate([np.zeros(size), np.ones(count)]),
            A_ub=-np.hstack([limit_rows[chosen], np.eye(count)]),
            b_ub=-limits[chosen],
            bounds=[(None, None)] * size + [(0, None)] * count,
        )
        return float(solved.fun), -np.asarray(solved.ineqlin.marginals)

    chosen = np.arange(len(limits))
    if not len(chosen):
        return chosen
    needed, prices = stretched(chosen)
    if needed <= 1e-7:
        return chosen[:0]
    chosen = chosen[prices > _MULTIPLIER]
    for index in list(chosen):
        without = chosen[chosen != index]
        if len(without) and stretched(without)[0] > 1e-7:
            chosen = without
    return chosen


def undetermined_directions(rows: Matrix) -> Matrix:
    """Orthonormal directions of x that no row feels; shape (how many, size of x)."""
    if not rows.size:
        return np.eye(rows.shape[1])
    _, singular, directions = np.linalg.svd(np.linalg.qr(rows, mode="r"), full_matrices=True)
    rank = int((singular > _RANK_TOLERANCE * max(singular.max(initial=0.0), 1e-300) * 100).sum())
    return np.asarray(directions[rank:])


def _compressed(rows: Matrix, wanted: Vector) -> tuple[Matrix, Vector]:
    """The same least squares problem in as few rows as it has unknowns."""
    if len(rows) <= rows.shape[1] + 1:
        return rows, wanted
    triangle = np.asarray(np.linalg.qr(np.column_stack([rows, wanted]), mode="r"))
    return triangle[:, :-1], triangle[:, -1]


def _norms(rows: Matrix) -> Vector:
    """Length of each row; 1 for a row of zeros."""
    lengths = np.linalg.norm(rows, axis=1)
    return np.where(lengths > 0, lengths, 1.0)


def _largest(values: Vector) -> float:
    return float(np.abs(values).max(initial=0.0))


def _least_squares(
    rows: Matrix, wanted: Vector, limit_rows: Matrix, limits: Vector, fixed_rows: Matrix, fixed: Vector
) -> tuple[Vector, Vector]:
    """Least squares, then least norm, under limits and with fixed_rows @ x = fixed; x and the multipliers."""
    # In cents, whatever the weights: then one tolerance serves all.
    size = _norms(limit_rows)
    limit_rows, limits = limit_rows / size[:, None], limits / size
    fixed_size = _norms(fixed_rows)
    fixed_rows, fixed = fixed_rows / fixed_size[:, None], fixed / fixed_size
    multipliers = np.zeros(len(limits))
    x = _least_squares_on(rows, wanted, fixed_rows, fixed)
    working = np.zeros(len(limits), dtype=bool)
    for _ in range(_MOST_ROUNDS):
        violated = limit_rows @ x < limits - _FEASIBLE
        if not violated.any():
            return x, multipliers / size
        if not (violated & ~working).any():
            break
        working |= violated
        for ridge in _RIDGES:
            active = _active_limits(
                rows, wanted, limit_rows[working], limits[working], fixed_rows, fixed, ridge
            )
            chosen = np.flatnonzero(working)[active]
            push = np.vstack([fixed_rows, limit_rows[chosen]])
            x = _least_squares_on(rows, wanted, push, np.concatenate([fixed, limits[chosen]]))
            solved = np.linalg.lstsq(push.T, rows.T @ (rows @ x - wanted), rcond=_RANK_TOLERANCE)[0]
            multipliers = np.zeros(len(limits))
            multipliers[chosen] = np.maximum(solved[len(fixed) :], 0)
            if not (limit_rows[working] @ x < limits[working] - _FEASIBLE).any():
                break
    raise NotSolved("the limits could not be resolved; some of them are too nearly the same")


def _least_squares_on(rows: Matrix, wanted: Vector, fixed_rows: Matrix, fixed: Vector) -> Vector:
    """Least squares, then least norm, among the x with fixed_rows @ x = fixed."""
    if not len(fixed):
        return np.asarray(np.linalg.lstsq(rows, wanted, rcond=_RANK_TOLERANCE)[0])
    nearest = np.linalg.lstsq(fixed_rows, fixed, rcond=_RANK_TOLERANCE)[0]
    free = undetermined_directions(fixed_rows).T
    inside = rows @ free
    inside[np.abs(inside) < _NOISE * np.abs(rows).max(initial=0.0)] = 0.0
    moved = np.linalg.lstsq(inside, wanted - rows @ nearest, rcond=_RANK_TOLERANCE)[0]
    return np.asarray(nearest + free @ moved)


def _active_limits(
    rows: Matrix,
    wanted: Vector,
    limit_rows: Matrix,
    limits: Vector,
    fixed_rows: Matrix,
    fixed: Vector,
    ridge: float,
) -> NDArray[np.intp]:
    """Which limits hold the optimum back: least distance programming by non-negative least squares."""
    from scipy.optimize import nnls

    nearest = np.linalg.lstsq(fixed_rows, fixed, rcond=_RANK_TOLERANCE)[0] if len(fixed) else 0.0
    free = undetermined_directions(fixed_rows).T if len(fixed) else np.eye(rows.shape[1])
    inside = rows @ free
    scale = max(float(np.linalg.norm(inside, 2)), 1e-300) if inside.size else 1.0
    small = scale * ridge * np.eye(free.shape[1])
    target = np.concatenate([wanted - rows @ (np.zeros(rows.shape[1]) + nearest), np.zeros(free.shape[1])])
    orthogonal, triangle = np.linalg.qr(np.vstack([inside, small]))
    centre = np.linalg.solve(triangle, orthogonal.T @ target)
    reach = limit_rows @ free
    # A limit that the fixed rows decide alone cannot be reached; they were chosen so that it holds.
    felt = np.linalg.norm(reach, axis=1) > 1e-9 * np.linalg.norm(limit_rows, axis=1)
    reach, limit_rows, limits = reach[felt], limit_rows[felt], limits[felt]
    # Unknown u = triangle @ (z - centre) of least norm with slopes @ u >= short.
    slopes = np.linalg.solve(triangle.T, reach.T).T
    short = limits - limit_rows @ (np.zeros(rows.shape[1]) + nearest) - reach @ centre
    size = np.linalg.norm(slopes, axis=1)
    reachable = np.vstack([(slopes / size[:, None]).T, short / size])
    goal = np.zeros(len(reachable))
    goal[-1] = 1.0
    pushes, distance = nnls(reachable, goal)
    if distance < 1e-9:
        raise Infeasible("the limits leave no solution")
    pushing = pushes > 1e-12 * max(pushes.max(initial=0.0), 1e-300)
    return np.asarray(np.flatnonzero(felt)[pushing])


def _linear_program(
    rows: Matrix, wanted: Vector, limit_rows: Matrix, limits: Vector
) -> tuple[Vector, float, Vector, Vector]:
    """x, the worst error, the signed dual weight of each row (they sum to 1), multipliers of the limits."""
    from scipy.optimize import linprog
    from scipy.sparse import csc_array

    count, size = rows.shape
    ones = np.ones((count, 1))
    constraints = np.vstack([
        np.hstack([rows, -ones]),
        np.hstack([-rows, -ones]),
        np.hstack([-limit_rows, np.zeros((len(limits), 1))]),
    ])  # fmt: skip
    solved = linprog(
        np.append(np.zeros(size), 1.0),
        A_ub=csc_array(constraints),
        b_ub=np.concatenate([wanted, -wanted, -limits]),
        bounds=[(None, None)] * size + [(0, None)],
        method="highs",
        options={"primal_feasibility_tolerance": 1e-10, "dual_feasibility_tolerance": 1e-10},
    )
    if solved.status == 2:
        raise Infeasible("the limits leave no solution")
    if solved.status != 0:
        raise NotSolved(f"the linear program was not solved: {solved.message}")
    duals = -np.asarray(solved.ineqlin.marginals)
    signed = duals[:count] - duals[count : 2 * count]
    return solved.x[:-1], float(solved.x[-1]), signed, duals[2 * count :]


def _least_squares_at_worst(
    compressed: tuple[Matrix, Vector],
    rows: Matrix,
    wanted: Vector,
    limit_rows: Matrix,
    limits: Vector,
    dual: Vector,
    multipliers: Vector,
) -> Vector:
    """Of all x with the least worst error, the one of least squares.

    A row or a limit with a dual value above zero is at its bound in every one of them, which makes it an
    equation; the others stay limits.
    """
    tight = np.flatnonzero(np.abs(dual) > _MULTIPLIER)
    held = np.flatnonzero(multipliers > _MULTIPLIER)
    if not len(tight):  # nothing is worse than 0: the rows are met exactly
        return _least_squares(*compressed, limit_rows, limits, limit_rows[:0], limits[:0])[0]
    side = np.sign(dual[tight])
    at_bound = np.vstack([
        np.column_stack([rows[tight], -side]),
        np.column_stack([limit_rows[held], np.zeros(len(held))]),
    ])  # fmt: skip
    solved = np.linalg.lstsq(at_bound, np.concatenate([wanted[tight], limits[held]]), rcond=_RANK_TOLERANCE)[
        0
    ]
    worst = float(solved[-1])
    others = np.setdiff1d(np.arange(len(wanted)), tight)
    free_limits = np.setdiff1d(np.arange(len(limits)), held)
    slack = worst + _FEASIBLE / 10
    improved, _ = _least_squares(
        *compressed,
        np.vstack([rows[others], -rows[others], limit_rows[free_limits]]),
        np.concatenate([wanted[others] - slack, -wanted[others] - slack, limits[free_limits]]),
        np.vstack([rows[tight], limit_rows[held]]),
        np.concatenate([wanted[tight] + side * worst, limits[held]]),
    )
    return improved
