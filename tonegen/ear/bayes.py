"""A Bayesian adaptive threshold: what is believed of the listener, and the most informative level.

Source: A. B. Watson (2017), QUEST+, Journal of Vision 17(3):10, after Watson & Pelli (1983), Perception &
Psychophysics 33, 113-120: a grid of possible listeners, each weighted by how well it explains the answers;
the next level is the one after whose answer the expected entropy of those weights is least.
"""

from collections.abc import Iterable
from functools import lru_cache
from itertools import product
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.ear.estimate import Estimate, checked_confidence
from tonegen.ear.psychometric import HEARD, LAPSES, USUAL_LAPSE, Answers, Weibull, rise_at
from tonegen.errors import BadValue

_Array = NDArray[np.float64]

# In place of a probability of exactly 0, so that its logarithm stays finite.
_NEVER: Final = 1e-300


class Listeners:
    """The listeners that are thought possible: every combination of the values given; and the levels to ask.

    Their arrays run over the combinations, threshold first. Raises BadValue for values that no listener has.
    """

    def __init__(
        self,
        thresholds: Iterable[float],
        slopes: Iterable[float],
        levels: Iterable[float],
        *,
        guess: float = 0.5,
        lapses: Iterable[float] = (USUAL_LAPSE,),
    ) -> None:
        """Prepare, for each level and listener, the probability of a right answer and its entropy."""
        possible = [Weibull(*values) for values in product(thresholds, slopes, (guess,), lapses)]
        self.levels: _Array = np.array(list(levels), dtype=np.float64)
        if not possible or not self.levels.size or not (self.levels > 0).all():
            raise BadValue("give at least one threshold, one slope, one lapse rate and one level above zero")
        self.guess = guess
        self.thresholds, self.slopes, self.lapses = (
            np.array([getattr(one, name) for one in possible]) for name in ("threshold", "slope", "lapse")
        )
        self._right = self.right(self.levels)
        self._entropy = _binary_entropy(self._right)

    def right(self, levels: _Array) -> _Array:
        """Probability of a right answer, levels x listeners."""
        rise = -np.expm1(-((np.asarray(levels)[:, np.newaxis] / self.thresholds) ** self.slopes))
        right: _Array = self.guess + (1 - self.guess - self.lapses) * rise
        return right

    def expected_entropy(self, weights: _Array) -> _Array:
        """Entropy of the weights to be expected after an answer at each level, less what is there before.

        By the chain rule H(listener | answer) = H(listener) + H(answer | listener) - H(answer).
        """
        expected: _Array = self._entropy @ weights - _binary_entropy(self._right @ weights)
        return expected


def _binary_entropy(probability: _Array) -> _Array:
    right, wrong = np.maximum(probability, _NEVER), np.maximum(1 - probability, _NEVER)
    entropy: _Array = -(right * np.log(right) + wrong * np.log(wrong))
    return entropy


@lru_cache(maxsize=4)
def usual_listeners(guess: float = 0.5) -> Listeners:
    """Thresholds of 0.25 to 256 cents, slopes from 0.7 (vague) to 6 (nearly a step), and `LAPSES`.

    Thresholds go two octaves beyond the levels, so that who hears nothing is not said to hear the last.
    How often a listener slips is found with the rest: were it taken for granted, slips would be heard as a
    dull ear (60 trials, one slip in ten: threshold half as high again).
    """
    return Listeners(
        thresholds=np.geomspace(0.25, 256, 61),
        slopes=np.geomspace(0.7, 6, 10),
        levels=np.geomspace(0.25, 64, 49),
        guess=guess,
        lapses=LAPSES,
    )


class Belief:
    """How likely each of the listeners is after the answers so far; `after` gives the next belief.

    >>> belief = Belief(usual_listeners())
    >>> easy = belief.after(8, True).after(8, True).next_level()
    >>> belief.after(8, False).after(8, False).next_level() > easy
    True
    """

    def __init__(self, listeners: Listeners, log_weights: _Array | None = None) -> None:
        """Believe in all listeners alike, unless told otherwise."""
        self.listeners = listeners
        logs = np.zeros(listeners.thresholds.size) if log_weights is None else log_weights
        self._log_weights = logs - logs.max()
        weights = np.exp(self._log_weights)
        self.weights: _Array = weights / weights.sum()

    def after(self, level: float, right: bool) -> "Belief":
        """The belief after one answer; the level need not be one of those that would be asked."""
        probability = self.listeners.right(np.array([level]))[0]
        explained = np.maximum(probability if right else 1 - probability, _NEVER)
        return Belief(self.listeners, self._log_weights + np.log(explained))

    def after_all(self, answers: Answers) -> "Belief":
        """The belief after many answers, in whatever order they came."""
        right = self.listeners.right(answers.levels)
        explained = answers.right @ np.log(np.maximum(right, _NEVER))
        explained += (answers.asked - answers.right) @ np.log(np.maximum(1 - right, _NEVER))
        return Belief(self.listeners, self._log_weights + explained)

    def next_level(self) -> float:
        """The level whose answer is expected to tell most."""
        return float(self.listeners.levels[np.argmin(self.listeners.expected_entropy(self.weights))])

    def likeliest(self) -> Weibull:
        """The listener of the greatest weight."""
        best = int(np.argmax(self.weights))
        one = self.listeners
        return Weibull(
            float(one.thresholds[best]), float(one.slopes[best]), one.guess, float(one.lapses[best])
        )

    def threshold(
        self, *, probability: float = HEARD, confidence: float = 0.95, slips: bool = False
    ) -> Estimate:
        """The level that is right with `probability`, slips apart: the belief's median and central range.

        slips : with the listener's slips after all, as a staircase settles
        Raises BadValue for a probability that one of the listeners never reaches.
        """
        checked_confidence(confidence)
        one = self.listeners
        rise = rise_at(probability, one.guess, one.lapses if slips else 0.0)
        levels = np.log(one.thresholds) + np.log(-np.log1p(-rise)) / one.slopes
        tails = (0.5, (1 - confidence) / 2, (1 + confidence) / 2)
        value, low, high = np.exp(self._quantiles(levels, tails))
        return Estimate(float(value), float(low), float(high), confidence)

    def middle(self, *, probability: float = HEARD, slips: bool = False) -> Weibull:
        """A listener in the middle of the belief: through `threshold` at `probability`, of the median slope.

        >>> belief = Belief(usual_listeners()).after(8, True).after(2, False)
        >>> round(belief.middle().level_at(0.8) / belief.threshold(probability=0.8).value, 6)
        1.0
        """
        one = self.listeners
        level = self.threshold(probability=probability, slips=slips).value
        slope = float(self._quantiles(one.slopes, (0.5,))[0])
        lapse = float(self.weights @ one.lapses)
        unit = Weibull(1.0, slope, one.guess, lapse).level_at(probability, slips=slips)
        return Weibull(level / unit, slope, one.guess, lapse)

    def _quantiles(self, values: _Array, at: tuple[float, ...]) -> _Array:
        """Quantiles of a value that each listener has."""
        order = np.argsort(values)
        weights = self.weights[order]
        # Half of each weight lies below its own value, so that the quantile is not one grid step off.
        return np.asarray(np.interp(at, np.cumsum(weights) - weights / 2, values[order]))
