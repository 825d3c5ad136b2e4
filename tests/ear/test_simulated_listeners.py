"""Every method of measuring, tried on simulated listeners whose ears are known.

The threshold found must be right within 8 % on the average (of logarithms, for thresholds are ratios), and
the range that is stated must cover the truth as often as it says. Of 500 runs a mean of logarithms is known
to 1 or 2 % (one standard error: a threshold by itself is known to 20 or 40 %), a coverage of 0.95 to 0.01;
bounds leave twice that.
For one listener a Bayesian range covers exactly what it says only on the average over all listeners that it
holds possible, so that is tested too.

Runs go side by side: their weights are the rows of a matrix, which `Listeners` takes turned as those of one.
"""

from statistics import NormalDist

import numpy as np
import pytest

from tonegen.ear.abx import p_of_guessing, proportion_right
from tonegen.ear.adjustment import settings
from tonegen.ear.bayes import Belief, usual_listeners
from tonegen.ear.planning import USUAL
from tonegen.ear.psychometric import HEARD, LAPSES, Answers, Weibull, threshold
from tonegen.ear.staircase import Staircase
from tonegen.ear.taps import tapped_rate
from tonegen.ear.trials import TrialKind

pytestmark = pytest.mark.long

RUNS = 1000
LISTENERS = 500
SLOPES = (1.5, 2.0, 3.0)
TRIALS = USUAL[TrialKind.PURER].trials


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

    assert abs(relative_bias(found, listener.level_at(stairs.target, slips=True))) < 0.05


def asked_as_usual(right_of, rng, guess=0.5, runs=LISTENERS):
    """What is believed of listeners after as many adaptive trials each as a session has.

    right_of : of the number of a trial and the level of each run, how likely the answer is right
    """
    listeners = usual_listeners(guess)
    right = listeners.right(listeners.levels)
    explained = np.stack([1 - right, right])
    weights = np.ones((runs, listeners.thresholds.size))
    for number in range(TRIALS):
        weights /= weights.sum(axis=1, keepdims=True)
        asked = np.argmin(listeners.expected_entropy(weights.T), axis=0)
        answered_right = rng.random(runs) < right_of(number, listeners.levels[asked])
        weights *= explained[answered_right.astype(int), asked]
    return [Belief(listeners, np.log(one)) for one in weights]


def test_runs_side_by_side_are_each_as_one_alone():
    """The very levels and weights that a session has."""
    answers = np.random.default_rng(0).random((TRIALS, 3)) < 0.8
    asked = []

    def right_of(number, levels):
        asked.append(levels)
        return answers[number]

    together = asked_as_usual(right_of, np.random.default_rng(1), runs=3)
    for run, last in enumerate(together):
        belief = Belief(usual_listeners())
        for number in range(TRIALS):
            assert belief.next_level() == asked[number][run]
            belief = belief.after(belief.next_level(), bool(answers[number, run]))
        assert last.weights == pytest.approx(belief.weights, abs=1e-9)


@pytest.mark.parametrize("slope", [1.5, 3.0])
def test_bayesian_threshold_of_one_listener(slope):
    """Also with ranges of 68 %, so that not the tails alone are right."""
    listener = Weibull(threshold=4, slope=slope)
    truth = listener.level_at(HEARD)
    beliefs = asked_as_usual(lambda _, levels: listener.right(levels), np.random.default_rng(1))
    wide = [belief.threshold() for belief in beliefs]
    narrow = [belief.threshold(confidence=0.68) for belief in beliefs]

    assert abs(relative_bias([one.value for one in wide], truth)) < 0.08 + 2 * 0.012
    assert np.mean([one.covers(truth) for one in wide]) >= 0.93
    assert np.mean([one.covers(truth) for one in narrow]) >= 0.62


def test_bayesian_range_covers_what_it_says_over_all_listeners():
    rng = np.random.default_rng(2)
    listeners = [
        Weibull(
            np.exp(rng.uniform(np.log(0.25), np.log(256))),
            np.exp(rng.uniform(*np.log([0.7, 6]))),
            lapse=float(rng.choice(LAPSES)),
        )
        for _ in range(LISTENERS)
    ]
    threshold, slope, lapse = (
        np.array([getattr(one, name) for one in listeners]) for name in ("threshold", "slope", "lapse")
    )
    beliefs = asked_as_usual(
        lambda _, levels: 0.5 - (0.5 - lapse) * np.expm1(-((levels / threshold) ** slope)), rng
    )
    for confidence, within in ((0.95, 0.025), (0.5, 0.06)):
        covered = np.mean(
            [
                belief.threshold(confidence=confidence).covers(listener.level_at(HEARD))
                for belief, listener in zip(beliefs, listeners, strict=True)
            ]
        )
        assert covered == pytest.approx(confidence, abs=within)


def steady_ear(slope, lapse):
    listener = Weibull(threshold=4, slope=slope, lapse=lapse)
    return listener.level_at(HEARD), lambda _, levels: listener.right(levels)


def biased_ear(slope):
    """Where he does not hear it he says "the first" three times in four; which is right half of the time."""
    sides, listener = np.random.default_rng(20), Weibull(threshold=4, slope=slope, guess=0.0)

    def right_of(_, levels):
        heard = listener.right(levels)
        return heard + (1 - heard - 0.02) * np.where(sides.random(levels.size) < 0.5, 0.75, 0.25)

    return Weibull(threshold=4, slope=slope).level_at(HEARD), right_of


def tired_ear(slope):
    """He slips more and more often: hardly at first, once in six trials at the end."""

    def right_of(number, levels):
        return Weibull(threshold=4, slope=slope, lapse=number / TRIALS / 6).right(levels)

    return Weibull(threshold=4, slope=slope).level_at(HEARD), right_of


OTHERS = {
    "slope 1": steady_ear(1, 0.02),
    "slope 5": steady_ear(5, 0.02),
    "slope 1, one slip in ten": steady_ear(1, 0.1),
    "slope 2, one slip in ten": steady_ear(2, 0.1),
    "slope 5, one slip in ten": steady_ear(5, 0.1),
    "biased": biased_ear(2),
    "tired": tired_ear(2),
}


@pytest.mark.parametrize("who", OTHERS)
def test_vagueness_slips_bias_and_tiredness_do_not_move_a_threshold(who):
    truth, right_of = OTHERS[who]
    found = [one.threshold() for one in asked_as_usual(right_of, np.random.default_rng(13))]
    values = [one.value for one in found]

    assert abs(relative_bias(values, truth)) < 0.08 + 2 * np.std(np.log(values)) / np.sqrt(LISTENERS)
    assert np.mean([one.covers(truth) for one in found]) > 0.9


def test_bayesian_threshold_where_guessing_is_right_once_in_three():
    """Wide, pure or narrow: three answers to choose from."""
    listener = Weibull(threshold=4, slope=2, guess=1 / 3)
    truth = listener.level_at(HEARD)
    found = [
        one.threshold()
        for one in asked_as_usual(lambda _, levels: listener.right(levels), np.random.default_rng(8), 1 / 3)
    ]

    assert abs(relative_bias([one.value for one in found], truth)) < 0.08 + 2 * 0.012
    assert np.mean([one.covers(truth) for one in found]) >= 0.93


@pytest.mark.parametrize(("down", "slope"), [(2, 1.5), (2, 2.0), (2, 3.0), (3, 2.0)])
def test_range_of_a_staircase_comes_from_the_belief_in_its_answers(down, slope):
    rng = np.random.default_rng(3)
    listener = Weibull(threshold=4, slope=slope)
    truth = listener.level_at(0.5 ** (1 / down), slips=True)
    found = []
    for _ in range(300):
        stairs, levels, rights = Staircase(down, 20.0), [], []
        for _ in range(60):
            levels.append(stairs.level)
            rights.append(rng.random() < listener.right(stairs.level))
            stairs = stairs.after(rights[-1])
        belief = Belief(usual_listeners()).after_all(Answers.of_trials(levels, rights))
        found.append(belief.threshold(probability=stairs.target, slips=True))

    assert (
        abs(relative_bias([one.value for one in found], truth)) < 0.08 + 2 * 0.015
    )  # of 300 runs a mean is known to 1.5 %
    # Of 300 runs a coverage of 0.95 is known to 0.013.
    assert np.mean([one.covers(truth) for one in found]) >= 0.92


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
        for _ in range(80)
    ]

    assert abs(relative_bias([one.value for one in found], truth)) < 0.05
    # Of 80 runs a coverage of 0.95 is known to 0.024.
    assert np.mean([one.covers(truth) for one in found]) == pytest.approx(0.95, abs=0.05)


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


@pytest.mark.parametrize("beats_per_second", [0.5, 1, 2])
def test_a_beat_that_was_tapped_twice(beats_per_second):
    rng = np.random.default_rng(14)
    errors = []
    for _ in range(RUNS):
        taps = tapping(rng, np.arange(8), beats_per_second)
        twice = np.append(taps, taps[rng.integers(8)] + 0.08)
        errors.append(tapped_rate(twice).value / beats_per_second - 1)

    assert np.sqrt(np.mean(np.square(errors))) < 0.03


@pytest.mark.parametrize("down", [2, 3])
def test_one_false_first_answer_does_not_throw_a_staircase(down):
    """A wrong key at the very first trial, which is easy."""
    rng = np.random.default_rng(15)
    listener = Weibull(threshold=4, slope=2)
    truth = listener.level_at(0.5 ** (1 / down), slips=True)
    found = []
    for _ in range(300):
        stairs, levels, rights = Staircase(down, 20.0), [], [False]
        for _ in range(60):
            levels.append(stairs.level)
            stairs = stairs.after(rights[-1])
            rights.append(rng.random() < listener.right(stairs.level))
        belief = Belief(usual_listeners()).after_all(Answers.of_trials(levels, rights[:60]))
        found.append(belief.threshold(probability=stairs.target, slips=True).value)

    assert abs(relative_bias(found, truth)) < 0.08


def tapping(rng, beats, beats_per_second):
    return rng.uniform(0, 1) + beats / beats_per_second + rng.normal(0, JITTER_SECONDS, beats.size)
