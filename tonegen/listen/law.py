"""One pitch from many partials: by the law of a stiff string, or of one string compared with itself.

Partials do not follow the law to the last tenth of a cent: the body and the bridge move each by its own way.
How far they stray is not known beforehand, so it is averaged over, each guess weighed by how likely it makes
what was heard (a single best guess jumps by cents). Strays are taken to follow Student's distribution with
three degrees of freedom, so that one that is far off does not draw the others.
"""

from dataclasses import dataclass
from math import log
from typing import Final

import numpy as np
from numpy.typing import NDArray

from tonegen.interval import partial_slope_cents
from tonegen.listen.ringing import Ringing
from tonegen.listen.spectrum import OwnWays

Array = NDArray[np.float64]

_STRAYS_CENTS: Final = np.geomspace(8, 0.01, 18)
_ROUGHLY: Final = 3  # then every third guess
_USUAL_STRAY_CENTS: Final = 0.3  # within a factor of e; of one string compared with itself, 0.05 within 1.6
_SELF_STRAYS_CENTS: Final = np.geomspace(2, 0.005, 14)
_USUAL_SELF_STRAY_CENTS: Final = 0.05
# By how much the errors that were found fell short of the real ones, on strings made with known pitch.
_WIDENING: Final = 1.4
_MOST_ROUNDS: Final = 50
_SETTLED_CENTS: Final = 1e-5
_FEWEST_LEARNED: Final = 3


@dataclass(frozen=True, slots=True)
class HeardPitch:
    """A pitch: cents above where it was looked for, their standard deviation, and the string's B."""

    cents: float
    error_cents: float
    stiffness: float


def pitch_by_law(heard: Ringing, stiffness: float, doubt: float, *, rough: bool = False) -> HeardPitch:
    """The pitch of the first partial by the law, and B with it; rough, to look more closely there.

    stiffness : B that the partials were looked for with. doubt : standard deviation of its logarithm; 0 where
    it was learned. The first partial's own way says no more than another's.
    """
    slope = stiffness * partial_slope_cents(heard.numbers, stiffness)  # in ln B
    squared, times_slope = slope**2, heard.cents * slope
    found = []
    pitch, log_b = float(np.median(heard.cents)), 0.0
    for stray in _STRAYS_CENTS[:: _ROUGHLY if rough else 1]:
        variances = heard.variances + stray**2
        covariance = np.zeros((2, 2))
        for _ in range(_MOST_ROUNDS):
            weights = _weights(heard.cents - pitch - slope * log_b, variances)
            if doubt:
                # Two by two, by hand: this is most of a reading's time.
                one, other = float(weights.sum()), float(weights @ slope)
                both = float(weights @ squared) + 1 / doubt**2
                covariance = np.array([[both, -other], [-other, one]]) / (one * both - other * other)
                now, log_b = covariance @ [weights @ heard.cents, weights @ times_slope]
            else:
                covariance[0, 0] = 1 / weights.sum()
                now = covariance[0, 0] * (weights @ heard.cents)
            moved, pitch = abs(now - pitch), float(now)
            if moved < _SETTLED_CENTS:
                break
        likelihood = _log_likelihood(heard.cents - pitch - slope * log_b, variances)
        likelihood -= 0.5 * log(stray / _USUAL_STRAY_CENTS) ** 2
        if doubt:
            likelihood += 0.5 * float(np.linalg.slogdet(covariance)[1]) - 0.5 * (log_b / doubt) ** 2
        else:
            likelihood += 0.5 * log(covariance[0, 0])
        found.append((likelihood, pitch, covariance[0, 0], log_b))
    likelihoods, pitches, spreads, logs = np.array(found).T
    share = _shares(likelihoods)
    mean = float(share @ pitches)
    error = float(np.sqrt(share @ (spreads + (pitches - mean) ** 2)))
    return HeardPitch(mean, _WIDENING * error, stiffness * float(np.exp(share @ logs)))


def shift_cents(first: Ringing, second: Ringing) -> tuple[float, float]:
    """How far a string moved from one sound to the other, by the partials that ring in both, and the error.

    Both must have been looked for with one stiffness. What is a partial's own cancels. Raises ValueError
    where no partial rings in both.
    """
    _, one, other = np.intersect1d(first.numbers, second.numbers, return_indices=True)
    if not len(one):
        raise ValueError("no partial rings in both")
    places = np.log(second.hz[other] / first.hz[one]) * 1200 / log(2)
    moved = places + second.cents[other] - first.cents[one]
    return _itself(moved, first.variances[one] + second.variances[other])


def pitch_by_ways(heard: Ringing, ways: OwnWays, stiffness: float) -> tuple[HeardPitch, float] | None:
    """The pitch of a string whose partials' own ways were learned, and how far they stray from those.

    stiffness : B that the partials were looked for with, as when they were learned.
    None where fewer than three partials ring that were learned.
    """
    _, one, other = np.intersect1d(heard.numbers, ways.numbers, return_indices=True)
    if len(one) < _FEWEST_LEARNED:
        return None
    moved = heard.cents[one] - ways.cents[other]
    cents, error = _itself(moved, heard.variances[one] + ways.variances[other])
    return HeardPitch(cents, error, stiffness), float(np.median(np.abs(moved - cents)))


def _itself(moved: Array, noise: Array) -> tuple[float, float]:
    """How far a string moved that is compared with itself, and the standard deviation of that.

    moved (k,): each partial; noise (k,): the variance of each.
    """
    found = []
    middle = float(np.median(moved))
    for stray in _SELF_STRAYS_CENTS:
        variances = noise + stray**2
        for _ in range(_MOST_ROUNDS):
            weights = _weights(moved - middle, variances)
            before, middle = middle, float(weights @ moved / weights.sum())
            if abs(middle - before) < _SETTLED_CENTS:
                break
        likelihood = _log_likelihood(moved - middle, variances) - 0.5 * log(weights.sum())
        likelihood -= 0.5 * (log(stray / _USUAL_SELF_STRAY_CENTS) / 0.5) ** 2
        found.append((likelihood, middle, 1 / weights.sum()))
    likelihoods, middles, spreads = np.array(found).T
    share = _shares(likelihoods)
    mean = float(share @ middles)
    return mean, _WIDENING * float(np.sqrt(share @ (spreads + (middles - mean) ** 2)))


def _weights(left: Array, variances: Array) -> Array:
    """Of least squares that end at the likeliest place under Student's distribution."""
    return np.asarray(4 / (3 + left**2 / variances) / variances)


def _log_likelihood(left: Array, variances: Array) -> float:
    return -float(np.sum(0.5 * np.log(variances) + 2 * np.log1p(left**2 / (3 * variances))))


def _shares(log_likelihoods: Array) -> Array:
    shares = np.exp(log_likelihoods - log_likelihoods.max())
    return np.asarray(shares / shares.sum())
