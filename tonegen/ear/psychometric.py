"""The psychometric function: how often a listener is right at each level, and its fit to the answers.

Source: Wichmann & Hill (2001), Perception & Psychophysics 63, 1293-1313 and 1314-1329: a Weibull function
between a guess rate and a lapse rate, fitted by maximum likelihood, its spread by the parametric bootstrap.
"""

from dataclasses import dataclass
from statistics import NormalDist
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from tonegen.ear.estimate import Estimate, checked_confidence
from tonegen.errors import BadValue
from tonegen.frozen import Frozen

# Wrong keys and lost attention. Wichmann & Hill: a fit without lapses takes one slip for a dull ear.
USUAL_LAPSE: Final = 0.02
# How often a listener may slip, where that is not known: from hardly ever to one answer in seven.
LAPSES: Final = (0.005, 0.02, 0.05, 0.1, 0.15)
# What "hears it" means: right four times in five, slips apart. The Bayesian method asks mostly there, so a
# threshold for this probability depends least on the slope, which 60 trials hardly tell.
HEARD: Final = 0.8
# Fewer answers say more of what was believed beforehand than of the listener, and fit a line of any shape.
FEWEST_ANSWERS: Final = 15
# Where the slope is looked for. Below, answers hardly depend on the level; above, they are all or nothing.
_SLOPES: Final = (0.5, 10.0)
# Of the 60 starts of a fit: one fit takes them all, the thousand of a bootstrap the likeliest two each.
_ALL_STARTS: Final = 60
_FEW_STARTS: Final = 2


def rise_at(probability: float, guess: float, lapse: ArrayLike = 0.0) -> NDArray[np.float64]:
    """How much of the way from guessing to what a listener reaches that probability is, for each lapse rate.

    Raises BadValue for a probability that one of them never reaches.

    >>> rise_at(0.8, 0.5, [0.0, 0.1]).round(3)
    array([0.6 , 0.75])
    """
    most = 1 - np.asarray(lapse, dtype=np.float64)
    if not guess < probability < most.min():
        raise BadValue(
            f"nobody is right with probability {probability:g}; ask between {guess:g} and {most.min():g}"
        )
    return (probability - guess) / (most - guess)


@dataclass(frozen=True, slots=True)
class Weibull:
    """Probability of a right answer: guess + (1 - guess - lapse) * (1 - exp(-(level/threshold)^slope)).

    Raises BadValue unless threshold and slope are above zero and guess + lapse is below one.

    >>> listener = Weibull(threshold=5, slope=2, guess=0.5, lapse=0.02)
    >>> float(listener.right(5).round(4)), round(listener.level_at(0.75), 2)
    (0.8034, 4.16)
    """

    threshold: float
    slope: float
    guess: float = 0.5
    lapse: float = USUAL_LAPSE

    def __post_init__(self) -> None:
        """Refuse what is not a psychometric function."""
        if not (0 < self.threshold < np.inf and 0 < self.slope < np.inf):
            raise BadValue("the threshold and the slope of a listener must be finite and above zero")
        if not (self.guess >= 0 and self.lapse >= 0 and self.guess + self.lapse < 1):
            raise BadValue("guess rate and lapse rate must be 0 or above, and together below 1")

    def right(self, level: ArrayLike) -> NDArray[np.float64]:
        """Probability of a right answer at each level."""
        levels = np.asarray(level, dtype=np.float64)
        rise = -np.expm1(-((levels / self.threshold) ** self.slope))
        return self.guess + (1 - self.guess - self.lapse) * rise

    def level_at(self, probability: float, *, slips: bool = False) -> float:
        """The level that is right with that probability by one who hears as he does and never slips.

        What a listener hears is told apart from how often he slips: who tires and slips more hears no worse
        (Wichmann & Hill 2001: thresholds are those of the function without guesses and lapses).
        slips : with his slips after all, as a staircase settles
        Raises BadValue for a probability that nobody reaches.
        """
        rise = rise_at(probability, self.guess, self.lapse if slips else 0.0)
        return float(self.threshold * (-np.log1p(-rise)) ** (1 / self.slope))


@dataclass(frozen=True, slots=True)
class Answers(Frozen):
    """How many trials were asked and how many were right, at each level; read-only arrays of one length."""

    levels: NDArray[np.float64]
    asked: NDArray[np.int64]
    right: NDArray[np.int64]

    @classmethod
    def of_trials(cls, levels: ArrayLike, right: ArrayLike) -> "Answers":
        """Sum up single trials: the level of each, and whether it was right.

        Raises BadValue without a trial, for different lengths, or for a level that is not above zero.
        """
        each = np.asarray(levels, dtype=np.float64)
        hits = np.asarray(right, dtype=bool)
        if each.ndim != 1 or each.shape != hits.shape or each.size == 0:
            raise BadValue("give one level and one answer for each trial, and at least one trial")
        if not (np.isfinite(each) & (each > 0)).all():
            raise BadValue("the level of a trial must be finite and above zero")
        different, where = np.unique(each, return_inverse=True)
        asked = np.bincount(where)
        correct = np.bincount(where, weights=hits).astype(np.int64)
        return cls(different, asked, correct)


def fit(answers: Answers, *, guess: float = 0.5, lapse: float | None = None) -> Weibull:
    """The listener under whom these answers are likeliest; threshold, slope and lapse rate free.

    The slope is looked for between 0.5 and 10, the threshold within a factor of 8 around the levels asked,
    the lapse rate among `LAPSES` unless it is given.
    """
    (found,) = _fit_rows(answers, answers.right[np.newaxis, :], guess, lapse, _ALL_STARTS)
    return Weibull(float(np.exp(found[0])), float(np.exp(found[1])), guess, float(found[2]))


def threshold(
    answers: Answers,
    rng: np.random.Generator,
    *,
    probability: float = HEARD,
    guess: float = 0.5,
    lapse: float | None = None,
    confidence: float = 0.95,
    resamples: int = 1000,
) -> Estimate:
    """The level that is right with `probability`, slips apart, with its bootstrap range.

    The fitted listener answers the same trials again `resamples` times, and each time is fitted again
    (Wichmann & Hill 2001 II). The range is the standard one of the bootstrap (Efron & Tibshirani 1993,
    ch. 13) on the logarithm of the level: after few trials that covers what it says, percentiles cover less.
    """
    checked_confidence(confidence)
    listener = fit(answers, guess=guess, lapse=lapse)
    again = rng.binomial(answers.asked, listener.right(answers.levels), (resamples, answers.levels.size))
    found = _fit_rows(answers, again, guess, lapse, _FEW_STARTS)
    value, rise = listener.level_at(probability), rise_at(probability, guess)
    spread = float(np.std(found[:, 0] + np.log(-np.log1p(-rise)) / np.exp(found[:, 1])))
    factor = float(np.exp(NormalDist().inv_cdf((1 + confidence) / 2) * spread))
    return Estimate(value, value / factor, value * factor, confidence)


def _fit_rows(
    answers: Answers, right: NDArray[np.int64], guess: float, lapse: float | None, starts: int
) -> NDArray[np.float64]:
    """Log threshold, log slope and lapse rate of each row of `right` (rows x levels): rows x 3.

    The likelihood of irregular answers has several tops. So the best threshold of a grid, for each slope
    and each lapse rate, is a start for Fisher scoring, and of the `starts` likeliest the best end counts.
    """
    x = np.log(answers.levels)
    asked = answers.asked.astype(np.float64)
    hits = right.astype(np.float64)
    bounds = np.array([[x[0] - np.log(8), x[-1] + np.log(8)], np.log(_SLOPES)])
    thresholds = np.linspace(bounds[0, 0], bounds[0, 1], 80)
    slopes = np.linspace(bounds[1, 0], bounds[1, 1], 12)
    begun, likely = [], []
    for one in LAPSES if lapse is None else (lapse,):
        grid = np.stack(np.meshgrid(thresholds, slopes, one), -1)[:, :, 0]
        log_right, log_wrong = _log_probabilities(grid.reshape(-1, 3), x, guess)
        likelihood = (hits @ log_right.T + (asked - hits) @ log_wrong.T).reshape(-1, *grid.shape[:2])
        begun.append(grid[np.arange(slopes.size), np.argmax(likelihood, axis=2)])
        likely.append(likelihood.max(axis=2))
    order = np.argsort(-np.concatenate(likely, axis=1), axis=1, kind="stable")[:, :starts]
    chosen = np.take_along_axis(np.concatenate(begun, axis=1), order[:, :, np.newaxis], axis=1)
    # All climb side by side: what numpy takes for a call is more than what it takes for a row.
    shape = chosen.shape[:2]
    ends, tops = _climbed(chosen.reshape(-1, 3), x, asked, np.repeat(hits, shape[1], axis=0), guess, bounds)
    best = np.argmax(tops.reshape(shape), axis=1)
    return np.asarray(ends.reshape(*shape, 3)[np.arange(len(hits)), best])


def _climbed(
    starts: NDArray[np.float64],
    x: NDArray[np.float64],
    asked: NDArray[np.float64],
    hits: NDArray[np.float64],
    guess: float,
    bounds: NDArray[np.float64],
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Where Fisher scoring of threshold and slope ends, row by row, and the log likelihood there."""
    found, best = starts.copy(), _log_likelihood(starts, x, asked, hits, guess)
    step, rows = np.ones(len(found)), np.arange(len(found))
    for _ in range(100):
        move = _fisher_move(found[rows], x, asked, hits[rows], guess, bounds[1])
        tried = found[rows]
        tried[:, :2] = np.clip(tried[:, :2] + step[rows, np.newaxis] * move, bounds[:, 0], bounds[:, 1])
        likelihood = _log_likelihood(tried, x, asked, hits[rows], guess)
        gained = likelihood - best[rows]
        better = gained > 0
        found[rows[better]], best[rows[better]] = tried[better], likelihood[better]
        step[rows] = np.where(better, np.minimum(2 * step[rows], 1), step[rows] / 4)
        rows = rows[(gained > 1e-9) | (step[rows] >= 1e-3)]
        if not rows.size:
            break
    return found, best


def _rise(parameters: NDArray[np.float64], x: NDArray[np.float64]) -> NDArray[np.float64]:
    """(level/threshold)^slope, rows x levels; kept where neither it nor its exponential overflows."""
    return np.exp(np.clip(np.exp(parameters[:, 1:2]) * (x - parameters[:, :1]), -30, 3.5))


def _log_probabilities(
    parameters: NDArray[np.float64], x: NDArray[np.float64], guess: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    probability = guess - (1 - guess - parameters[:, 2:]) * np.expm1(-_rise(parameters, x))
    return np.log(np.maximum(probability, 1e-12)), np.log(np.maximum(1 - probability, 1e-12))


def _log_likelihood(
    parameters: NDArray[np.float64],
    x: NDArray[np.float64],
    asked: NDArray[np.float64],
    hits: NDArray[np.float64],
    guess: float,
) -> NDArray[np.float64]:
    log_right, log_wrong = _log_probabilities(parameters, x, guess)
    likelihood: NDArray[np.float64] = (hits * log_right + (asked - hits) * log_wrong).sum(axis=1)
    return likelihood


def _fisher_move(
    parameters: NDArray[np.float64],
    x: NDArray[np.float64],
    asked: NDArray[np.float64],
    hits: NDArray[np.float64],
    guess: float,
    slopes: NDArray[np.float64],
) -> NDArray[np.float64]:
    """The step of Fisher scoring in (log threshold, log slope) for each row, at most one unit long.

    Where the slope is at its limit and would go on, it stays, and the threshold moves by itself.
    """
    slope, most = np.exp(parameters[:, 1:2]), 1 - guess - parameters[:, 2:]
    rise = _rise(parameters, x)
    probability = guess - most * np.expm1(-rise)
    steepness = most * rise * np.exp(-rise)
    by_threshold, by_slope = -slope * steepness, np.log(rise) * steepness
    weight = 1 / np.maximum(probability * (1 - probability), 1e-9)
    residual = weight * (hits - asked * probability)
    score = np.stack([(residual * by_threshold).sum(1), (residual * by_slope).sum(1)], -1)
    a = (asked * weight * by_threshold**2).sum(1) + 1e-6
    b = (asked * weight * by_threshold * by_slope).sum(1)
    d = (asked * weight * by_slope**2).sum(1) + 1e-6
    move = np.stack([d * score[:, 0] - b * score[:, 1], a * score[:, 1] - b * score[:, 0]], -1)
    move /= (a * d - b * b)[:, np.newaxis]
    beyond = parameters[:, 1] + np.sign(move[:, 1]) * 1e-9
    stays = (beyond < slopes[0]) | (beyond > slopes[1])
    move[stays] = np.stack([score[stays, 0] / a[stays], np.zeros(stays.sum())], -1)
    clipped: NDArray[np.float64] = np.clip(move, -1, 1)
    return clipped
