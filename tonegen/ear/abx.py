"""The blind test ABX: is X the sound A or the sound B, and how likely is such a score by guessing alone."""

from math import comb

from tonegen.ear.estimate import Estimate, checked_confidence
from tonegen.errors import BadValue


def p_of_guessing(right: int, trials: int) -> float:
    """Exact probability that a guesser gets `right` or more out of `trials` (binomial, one-sided).

    It holds for a number of trials that was fixed beforehand; stop while you are ahead and you fool yourself.
    Raises BadValue unless 0 <= right <= trials and trials is 1 or more.

    >>> p_of_guessing(12, 16)
    0.0384063720703125
    """
    _check(right, trials)
    ways: int = sum(comb(trials, hits) for hits in range(right, trials + 1))
    return float(ways / 2**trials)


def right_needed(trials: int, p: float = 0.05) -> int | None:
    """The least score of `trials` whose probability by guessing is `p` or less; None when even all is not.

    >>> right_needed(16), right_needed(4)
    (12, None)
    """
    _check(0, trials)
    return next((right for right in range(trials + 1) if p_of_guessing(right, trials) <= p), None)


def proportion_right(right: int, trials: int, *, confidence: float = 0.95) -> Estimate:
    """The proportion right, with its exact range. Source: Clopper & Pearson (1934), Biometrika 26, 404-413.

    The range covers at least as often as it says, never less.
    """
    from scipy.special import betaincinv

    _check(right, trials)
    tail = (1 - checked_confidence(confidence)) / 2
    low = float(betaincinv(right, trials - right + 1, tail)) if right else 0.0
    high = float(betaincinv(right + 1, trials - right, 1 - tail)) if right < trials else 1.0
    return Estimate(right / trials, low, high, confidence)


def _check(right: int, trials: int) -> None:
    if trials < 1 or not 0 <= right <= trials:
        raise BadValue(
            f"{right} right of {trials} is not a score; give 1 trial or more, and 0 to all of them right"
        )
