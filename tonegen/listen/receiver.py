"""How a receiver follows what it is asked for: how coarse its own steps are, and how it rounds to them."""

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

_LEAST_STEP_CENTS: Final = 0.1
_MOST_STEP_CENTS: Final = 20.0
FEWEST_KEYS: Final = 6
_LEAST_ERROR_CENTS: Final = 0.03  # two notes of one key are not alike beyond that
_SCALES: Final = np.arange(0.97, 1.0301, 0.001)  # of a bend: some make less of it than they are sent
_CANDIDATES: Final = 12
_AS_LIKELY: Final = 0.5
_LIKELIER: Final = 6.0  # by its logarithm, before steps are believed
_ON_A_STEP: Final = 1e-6


@dataclass(frozen=True, slots=True)
class ReceiverSteps:
    """The steps in which a receiver moves. step_cents : 0 where none were found, it follows as finely as it
    was heard. rounding : to the nearest step, or down to it. scale : how much it moves for each cent.
    off_cents : how far it then is from where it is taken to be, root mean square.
    """

    step_cents: float
    rounding: Literal["nearest", "down"]
    scale: float
    off_cents: float

    def moved(self, asked: Array) -> Array:
        """How far it moves when asked to.

        >>> ReceiverSteps(1.0, "down", 1.0, 0.0).moved(np.array([2.7, -0.3])).tolist()
        [2.0, -1.0]
        """
        cents = asked * self.scale
        if not self.step_cents:
            return cents
        steps = cents / self.step_cents
        whole = np.rint(steps) if self.rounding == "nearest" else np.floor(steps + _ON_A_STEP)
        return np.asarray(whole * self.step_cents)


def receiver_steps(asked: Array, moved: Array, errors: Array, scales: bool) -> ReceiverSteps:
    """The steps of a receiver whose keys were asked to move by as many different amounts, and did so far.

    asked, moved, errors (k,): cents, the last as standard deviations. scales : whether it may move less, or
    more, for each cent than it is asked, as some do that are bent.
    """
    doubt = np.hypot(errors, _LEAST_ERROR_CENTS)
    tried = _SCALES if scales else np.ones(1)
    # As fine as can be heard, until steps are likelier.
    weights = 1 / doubt**2
    slope = float((weights * asked) @ moved / max(float((weights * asked) @ asked), 1e-9)) if scales else 1.0
    best = _judged(ReceiverSteps(0.0, "nearest", float(np.clip(slope, 0.9, 1.1)), 0.0), asked, moved, doubt)
    if len(asked) < FEWEST_KEYS:
        return best[1]
    best = best[0] + _LIKELIER, best[1]
    roundings: tuple[Literal["nearest", "down"], ...] = ("nearest", "down")
    for step in _candidates(moved, doubt):
        for rounding in roundings:
            found = [
                _judged(ReceiverSteps(step, rounding, float(scale), 0.0), asked, moved, doubt)
                for scale in tried
            ]
            likeliest = max(each for each, _ in found)
            if likeliest > best[0]:
                # Between two steps many a scale does as well: the middle one, or none at all.
                alike = [each for each in found if each[0] > likeliest - _AS_LIKELY]
                whole = [each for each in alike if abs(each[1].scale - 1) < 1e-9]
                best = whole[0] if whole else alike[len(alike) // 2]
    return best[1]


def _candidates(moved: Array, doubt: Array) -> list[float]:
    """Steps of which all moves are whole multiples, or nearly; the likeliest of all sizes."""
    sizes = np.geomspace(max(_LEAST_STEP_CENTS, 3 * float(np.median(doubt))), _MOST_STEP_CENTS, 20000)
    fits = np.cos(2 * np.pi * moved / sizes[:, np.newaxis]).mean(axis=1)
    tops = np.flatnonzero((fits[1:-1] >= fits[:-2]) & (fits[1:-1] >= fits[2:])) + 1
    found = []
    for top in tops[np.argsort(-fits[tops])[:_CANDIDATES]]:
        whole = np.rint(moved / sizes[top])
        if whole.any():
            found.append(round(float(whole @ moved / (whole @ whole)), 3))
    return found


def _judged(steps: ReceiverSteps, asked: Array, moved: Array, doubt: Array) -> tuple[float, ReceiverSteps]:
    """How likely the moves are, by its logarithm; by Student's distribution, since one may be misheard."""
    left = moved - steps.moved(asked)
    likely = -2 * float(np.sum(np.log1p(left**2 / (3 * doubt**2))))
    off = float(np.sqrt(np.mean(left**2)))
    return likely, ReceiverSteps(steps.step_cents, steps.rounding, steps.scale, off)
