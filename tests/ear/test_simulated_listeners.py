"""Every method of measuring, tried on 1,000 simulated listeners whose ears are known.

The threshold found must be right within 5 % on the average (of logarithms, for thresholds are ratios), and
the range that is stated must cover the truth as often as it says. With 1,000 runs a coverage of 0.95 is seen
within 0.93 and 0.97 by chance; for one listener a Bayesian range covers exactly what it says only on the
average over all listeners that it holds possible, so that is tested too.
"""

import numpy as np
import pytest

from tonegen.ear.adjustment import settings
from tonegen.ear.bayes import Belief, usual_listeners
from tonegen.ear.psychometric import HEARD, Answers, Weibull, threshold
from tonegen.ear.staircase import Staircase
from tonegen.ear.taps import tapped_rate

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
    belief = Belief(usual_listeners())
    for _ in range(60):
        level = belief.next_level()
        belief = belief.after(level, rng.random() < listener.right(level))
    return belief


@pytest.mark.parametrize("slope", SLOPES)
def test_range_of_a_staircase_comes_from_the_belief_in_its_answers(slope):
    rng = np.random.default_rng(3)
    listener = Weibull(threshold=4, slope=slope)
    truth = listener.level_at(0.5**0.5)
    found = []
    for _ in range(RUNS):
        stairs, belief = Staircase(2, 20.0), Belief(usual_listeners())
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


# At 30 ms of jitter (one standard deviation, each tap by itself) 8 taps say no more than this: the error of
# the period is 4.6 ms, which is 2 % of it at 4.3 beats a second. Common practice, no source: taps jitter so.
@pytest.mark.parametrize(
    ("beats_per_second", "within_2_percent"), [(0.5, 0.999), (1, 0.99), (2, 0.95), (4, 0.68)]
)
def test_eight_taps_with_30_ms_of_jitter(beats_per_second, within_2_percent):
    rng = np.random.default_rng(6)
    found = [tapped_rate(tapping(rng, np.arange(8), beats_per_second)) for _ in range(RUNS)]
    errors = np.array([one.value / beats_per_second - 1 for one in found])

    assert np.sqrt(np.mean(errors**2)) < 0.02
    assert np.mean(np.abs(errors) < 0.02) >= within_2_percent
    assert np.mean([one.covers(beats_per_second) for one in found]) == pytest.approx(0.95, abs=0.02)


@pytest.mark.parametrize("beats_per_second", [0.5, 1, 2])
def test_a_beat_that_was_left_out(beats_per_second):
    rng = np.random.default_rng(7)
    tapped = [np.delete(np.arange(9), rng.integers(1, 8)) for _ in range(RUNS)]
    errors = [
        tapped_rate(tapping(rng, beats, beats_per_second)).value / beats_per_second - 1 for beats in tapped
    ]

    assert np.sqrt(np.mean(np.square(errors))) < 0.02


def tapping(rng, beats, beats_per_second):
    return rng.uniform(0, 1) + beats / beats_per_second + rng.normal(0, 0.03, beats.size)
