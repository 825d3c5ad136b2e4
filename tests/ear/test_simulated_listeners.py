"""Every method of measuring, tried on 1,000 simulated listeners whose ears are known.

The threshold found must be right within 5 % on the average (of logarithms, for thresholds are ratios), and
the range that is stated must cover the truth as often as it says. With 1,000 runs a coverage of 0.95 is seen
within 0.93 and 0.97 by chance; for one listener a Bayesian range covers exactly what it says only on the
average over all listeners that it holds possible, so that is tested too.
"""

from statistics import NormalDist

import numpy as np
import pytest

from tonegen.ear.abx import p_of_guessing, proportion_right
from tonegen.ear.adjustment import settings
from tonegen.ear.bayes import Belief, usual_listeners
from tonegen.ear.psychometric import HEARD, Answers, Weibull, threshold
from tonegen.ear.staircase import Staircase
from tonegen.ear.taps import tapped_rate

pytestmark = pytest.mark.long

RUNS = 1000
SLOPES = (1.5, 2.0, 3.0)


def relative_bias(values, truth):
    return np.exp(np.mean(np.log(values))) / truth - 1


@pytest.mark.parametrize("down", [2, 3])
@pytest.mark.parametrize("slope", SLOPES)
def test_staircase_finds_its_target(down, slope):
    rng = np.random.default_rng(down)
    listener = Weibull(threshold=4, slope=slope)
    found = []
    for _ in range(RUNS):
        stairs = Staircase(down, 20.0)
        while len(stairs.reversals) < 16:
            stairs = stairs.after(rng.random() < listener.right(stairs.level))
        found.append(stairs.threshold())

    assert abs(relative_bias(found, listener.level_at(stairs.target))) < 0.05


@pytest.mark.parametrize("slope", SLOPES)
def test_bayesian_threshold_of_one_listener(slope):
    """60 trials each; also with ranges of 68 %, so that not the tails alone are right."""
    rng = np.random.default_rng(1)
    listener = Weibull(threshold=4, slope=slope)
    truth = listener.level_at(HEARD)
    beliefs = [asked_60_times(listener, rng) for _ in range(RUNS)]
    wide = [belief.threshold() for belief in beliefs]
    narrow = [belief.threshold(confidence=0.68) for belief in beliefs]

    assert abs(relative_bias([one.value for one in wide], truth)) < 0.05
    assert np.mean([one.covers(truth) for one in wide]) >= 0.93
    assert np.mean([one.covers(truth) for one in narrow]) >= 0.62


def test_bayesian_range_covers_what_it_says_over_all_listeners():
    rng = np.random.default_rng(2)
    covered = {0.5: 0, 0.95: 0}
    for _ in range(RUNS):
        listener = Weibull(
            np.exp(rng.uniform(np.log(0.25), np.log(256))), np.exp(rng.uniform(*np.log([0.7, 6])))
        )
        belief = asked_60_times(listener, rng)
        for confidence in covered:
            covered[confidence] += belief.threshold(confidence=confidence).covers(listener.level_at(HEARD))

    assert covered[0.95] / RUNS == pytest.approx(0.95, abs=0.02)
    assert covered[0.5] / RUNS == pytest.approx(0.5, abs=0.05)


def asked_60_times(listener, rng):
    belief = Belief(usual_listeners(listener.guess))
    for _ in range(60):
        level = belief.next_level()
        belief = belief.after(level, rng.random() < listener.right(level))
    return belief


def test_bayesian_threshold_where_guessing_is_right_once_in_three():
    """Wide, pure or narrow: three answers to choose from."""
    rng = np.random.default_rng(8)
    listener = Weibull(threshold=4, slope=2, guess=1 / 3)
    truth = listener.level_at(HEARD)
    found = [asked_60_times(listener, rng).threshold() for _ in range(RUNS)]

    assert abs(relative_bias([one.value for one in found], truth)) < 0.05
    assert np.mean([one.covers(truth) for one in found]) >= 0.93


@pytest.mark.parametrize(("down", "slope"), [(2, 1.5), (2, 2.0), (2, 3.0), (3, 2.0)])
def test_range_of_a_staircase_comes_from_the_belief_in_its_answers(down, slope):
    rng = np.random.default_rng(3)
    listener = Weibull(threshold=4, slope=slope)
    truth = listener.level_at(0.5 ** (1 / down))
    found = []
    for _ in range(RUNS):
        stairs, belief = Staircase(down, 20.0), Belief(usual_listeners())
        for _ in range(60):
            right = rng.random() < listener.right(stairs.level)
            belief, stairs = belief.after(stairs.level, right), stairs.after(right)
        found.append(belief.threshold(probability=stairs.target))

    assert abs(relative_bias([one.value for one in found], truth)) < 0.05
    assert np.mean([one.covers(truth) for one in found]) >= 0.93


@pytest.mark.parametrize(
    ("slope", "levels"), [(1.5, (1, 2, 4, 8, 12)), (2.0, (1, 2, 3, 4, 6, 8, 12)), (3.0, (2, 3, 4, 6, 8))]
)
def test_fit_to_fixed_levels_with_its_bootstrap_range(slope, levels):
    """40 trials at each level."""
    rng = np.random.default_rng(4)
    listener = Weibull(threshold=4, slope=slope)
    truth = listener.level_at(HEARD)
    asked = np.repeat(levels, 40)
    found = [
        threshold(
            Answers.of_trials(asked, rng.random(asked.size) < listener.right(asked)), rng, resamples=100
        )
        for _ in range(RUNS)
    ]

    assert abs(relative_bias([one.value for one in found], truth)) < 0.05
    assert np.mean([one.covers(truth) for one in found]) == pytest.approx(0.95, abs=0.025)


@pytest.mark.parametrize("count", [4, 20])
def test_settings_of_a_listener_with_a_known_habit(count):
    """He sets thirds 3 cents wide, with a spread of 2 cents."""
    rng = np.random.default_rng(5)
    found = [settings(rng.normal(3, 2, count)) for _ in range(RUNS)]

    assert np.mean([one.constant_error.value for one in found]) == pytest.approx(3, rel=0.05)
    assert np.mean([one.spread.value for one in found]) == pytest.approx(2, rel=0.05)
    assert np.mean([one.constant_error.covers(3) for one in found]) == pytest.approx(0.95, abs=0.02)
    assert np.mean([one.spread.covers(2) for one in found]) == pytest.approx(0.95, abs=0.02)


@pytest.mark.parametrize(("right_of_a_hundred", "trials"), [(50, 16), (75, 16), (95, 30)])
def test_range_of_a_proportion_covers_no_less_than_it_says(right_of_a_hundred, trials):
    """Exact binomial ranges err on the safe side, never on the other."""
    rng = np.random.default_rng(9)
    truth = right_of_a_hundred / 100
    found = [proportion_right(int(rng.binomial(trials, truth)), trials) for _ in range(RUNS)]

    assert np.mean([one.value for one in found]) == pytest.approx(truth, rel=0.05)
    assert np.mean([one.covers(truth) for one in found]) >= 0.935


@pytest.mark.parametrize("trials", [10, 16])
def test_a_guesser_passes_a_blind_test_as_seldom_as_its_p_says(trials):
    rng = np.random.default_rng(10)
    passed = np.mean([p_of_guessing(int(rng.binomial(trials, 0.5)), trials) <= 0.05 for _ in range(RUNS)])

    assert passed < 0.05 + 0.02


# A rate is tapped with a jitter of 30 ms, one standard deviation, each tap by itself (common practice, no
# source). No unbiased estimate of the period from n such taps errs less than jitter * sqrt(12 / (n^3 - n)):
# the Cramer-Rao bound of a line through points with normal errors (Kay, Fundamentals of Statistical Signal
# Processing: Estimation Theory, 1993, section 3.5; from memory). So 8 taps are within 2 % of the rate for 19
# listeners in 20 up to 2.2 beats a second, and 12 taps up to 4; the estimate is held to the bound itself.
JITTER_SECONDS = 0.03


def least_error_of_the_rate(beats_per_second, taps):
    """As a share of the rate, one standard deviation."""
    return beats_per_second * JITTER_SECONDS * np.sqrt(12 / (taps**3 - taps))


@pytest.mark.parametrize(
    ("taps", "beats_per_second"), [(8, 0.5), (8, 1), (8, 2), (8, 2.2), (8, 4), (12, 4), (16, 6)]
)
def test_taps_are_as_near_as_any_estimate_of_them_can_be(taps, beats_per_second):
    rng = np.random.default_rng(6)
    found = [tapped_rate(tapping(rng, np.arange(taps), beats_per_second)) for _ in range(RUNS)]
    errors = np.array([one.value / beats_per_second - 1 for one in found])
    least = least_error_of_the_rate(beats_per_second, taps)
    within = NormalDist(0, least).cdf(0.02) - NormalDist(0, least).cdf(-0.02)

    # A standard deviation of 1,000 runs is itself known to 2.2 %; a share of them to 1.6 % or better.
    assert np.std(errors) == pytest.approx(least, rel=0.09)
    assert abs(np.mean(errors)) < 0.01
    assert np.mean(np.abs(errors) < 0.02) == pytest.approx(within, abs=0.05)
    assert np.mean([one.covers(beats_per_second) for one in found]) == pytest.approx(0.95, abs=0.02)


@pytest.mark.parametrize(("taps", "up_to"), [(8, 2.2), (12, 4.0)])
def test_how_many_taps_are_good(taps, up_to):
    """What the terminal and the page advise: 2 % of the rate, 19 times in 20."""
    assert 1.96 * least_error_of_the_rate(up_to, taps) == pytest.approx(0.02, rel=0.03)


@pytest.mark.parametrize("beats_per_second", [0.5, 1, 2])
def test_a_beat_that_was_left_out(beats_per_second):
    rng = np.random.default_rng(7)
    tapped = [np.delete(np.arange(9), rng.integers(1, 8)) for _ in range(RUNS)]
    errors = [
        tapped_rate(tapping(rng, beats, beats_per_second)).value / beats_per_second - 1 for beats in tapped
    ]

    assert np.sqrt(np.mean(np.square(errors))) < 0.02


def tapping(rng, beats, beats_per_second):
    return rng.uniform(0, 1) + beats / beats_per_second + rng.normal(0, JITTER_SECONDS, beats.size)
