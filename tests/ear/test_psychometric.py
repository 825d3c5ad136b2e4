"""Psychometric function, staircase, settings, blind test and taps, against values from outside."""

import csv
from itertools import product
from pathlib import Path

import numpy as np
import pytest
from scipy import ndimage, optimize, stats

from tonegen.ear.abx import p_of_guessing, proportion_right, right_needed
from tonegen.ear.adjustment import settings
from tonegen.ear.psychometric import LAPSES, Answers, Weibull, fit, threshold
from tonegen.ear.staircase import Staircase
from tonegen.ear.taps import tapped_rate
from tonegen.errors import BadValue

with (Path(__file__).parents[1] / "published" / "s3_psychometrics.csv").open(newline="") as file:
    PUBLISHED = {row["id"]: float(row["value"]) for row in csv.DictReader(file)}


@pytest.mark.parametrize(("row", "level"), [("WB-2.5", 2.5), ("WB-5", 5.0)])
def test_weibull_function_after_wichmann_and_hill(row, level):
    listener = Weibull(threshold=5, slope=2, guess=0.5, lapse=0.02)

    assert listener.right(level) == pytest.approx(PUBLISHED[row], abs=1e-9)
    assert Weibull(5, 2, lapse=0).level_at(float(Weibull(5, 2, lapse=0).right(level))) == pytest.approx(level)


def test_what_a_listener_hears_does_not_hang_on_how_often_he_slips():
    levels = [Weibull(5, 2, lapse=lapse).level_at(0.8) for lapse in LAPSES]

    assert levels == [pytest.approx(5 * np.log(2.5) ** 0.5)] * len(LAPSES)


# The 2-down target is printed nowhere in the table, but its d' row carries it: Levitt's 70.7 %.
@pytest.mark.parametrize(
    ("down", "proportion"),
    [(1, PUBLISHED["LEV-1"]), (2, 0.707106781), (3, PUBLISHED["LEV-3"]), (4, PUBLISHED["LEV-4"])],
)
def test_where_a_staircase_settles_after_levitt(down, proportion):
    assert Staircase(down, 10.0).target == pytest.approx(proportion, abs=1e-9)


def test_a_staircase_goes_as_levitt_lets_it():
    """Two right: down; one wrong: up; a turn is noted at the level where it happened; steps grow finer."""
    stairs = Staircase(down=2, level=16.0)
    levels = [stairs.level]
    for right in (True, True, True, True, False, True, False, True, True):
        stairs = stairs.after(right)
        levels.append(stairs.level)

    assert levels == pytest.approx([16, 16, 8, 8, 4, 8, 8, 16, 16, 16 / 2**0.5])
    assert stairs.reversals == (4, 16)


def test_the_threshold_is_the_mean_of_mid_runs():
    stairs = Staircase(2, 3.0, reversals=(20, 5, 9, 4, 8, 2, 4, 1))

    assert stairs.threshold() == pytest.approx(np.sqrt(4 * 2), rel=1e-12)  # of sqrt(8*2) and sqrt(4*1)
    assert np.isnan(Staircase(2, 3.0, reversals=(20, 5, 9, 4, 8)).threshold())


def test_a_staircase_stays_within_its_limits():
    stairs = Staircase(2, 16.0, lowest=4.0, highest=20.0)

    assert stairs.after(False).level == 20
    for _ in range(8):
        stairs = stairs.after(True)
    assert stairs.level == 4


@pytest.mark.parametrize("seed", range(5))
def test_the_fit_is_the_greatest_likelihood_that_another_solver_finds(seed):
    rng = np.random.default_rng(seed)
    levels = np.repeat([1.0, 2, 3, 5, 8, 12], 30)
    answers = Answers.of_trials(levels, rng.random(levels.size) < Weibull(4, 2).right(levels))

    def minus_log_likelihood(logs):
        right = Weibull(*np.exp(logs)).right(answers.levels)
        return -(answers.right * np.log(right) + (answers.asked - answers.right) * np.log(1 - right)).sum()

    other = optimize.minimize(
        minus_log_likelihood, np.log([4, 2]), method="Nelder-Mead", options={"xatol": 1e-8, "fatol": 1e-10}
    )
    found = fit(answers, lapse=0.02)

    assert (found.threshold, found.slope) == pytest.approx(np.exp(other.x), rel=1e-4)


@pytest.mark.parametrize("seed", range(60))
def test_the_fit_is_the_highest_of_several_tops(seed):
    """Few answers at irregular levels, where the likelihood has more than one top: no start of ours is better
    than any top of a fine grid, from where another solver climbs.
    """
    rng = np.random.default_rng(seed)
    levels = np.repeat(np.exp(rng.uniform(np.log(0.5), np.log(40), 12)), rng.integers(1, 6, 12))
    answers = Answers.of_trials(levels, rng.random(levels.size) < Weibull(4, 2, lapse=0.1).right(levels))
    x = np.log(answers.levels)
    bounds = [(x[0] - np.log(8), x[-1] + np.log(8)), (np.log(0.5), np.log(10))]

    def minus_log_likelihood(logs, lapse):
        threshold, slope = np.exp(logs)
        rise = -np.expm1(-((answers.levels / threshold[..., np.newaxis]) ** slope[..., np.newaxis]))
        right = 0.5 + (0.5 - lapse) * rise
        return -(np.log(right) @ answers.right + np.log(1 - right) @ (answers.asked - answers.right))

    grid = np.array(np.meshgrid(*(np.linspace(*span, 120) for span in bounds)))
    best = np.inf
    for lapse in LAPSES:
        heights = minus_log_likelihood(grid, lapse)
        tops = (heights == ndimage.minimum_filter(heights, 3)) & (heights < heights.min() + 1)
        for start in grid[:, tops].T:
            other = optimize.minimize(minus_log_likelihood, start, (lapse,), bounds=bounds, method="L-BFGS-B")
            best = min(best, other.fun)
    found = fit(answers)

    assert minus_log_likelihood(np.log([found.threshold, found.slope]), found.lapse) <= best + 1e-3


@pytest.mark.parametrize(("right", "trials"), [(0, 1), (5, 10), (12, 16), (16, 16), (61, 100)])
def test_abx_is_the_binomial_test_of_another_library(right, trials):
    other = stats.binomtest(right, trials, 0.5, alternative="greater")
    both = stats.binomtest(right, trials, 0.5).proportion_ci(0.95, method="exact")
    found = proportion_right(right, trials)

    assert p_of_guessing(right, trials) == pytest.approx(other.pvalue, rel=1e-12)
    assert (found.low, found.high) == pytest.approx((both.low, both.high), rel=1e-9, abs=1e-12)


def test_the_score_that_a_blind_test_needs():
    """Common practice, no source: 12 of 16 and 9 of 10 at one in twenty."""
    assert (right_needed(16), right_needed(10)) == (12, 9)


def test_settings_against_another_library():
    errors = np.array([-3.1, 1.0, 0.4, -2.2, -0.9, 2.5, -1.3])
    found = settings(errors, confidence=0.9)
    mean_range = stats.ttest_1samp(errors, 0).confidence_interval(0.9)
    low, high = np.sqrt(6 * errors.var(ddof=1) / stats.chi2.ppf([0.95, 0.05], 6))

    assert found.constant_error.value == pytest.approx(errors.mean())
    assert (found.constant_error.low, found.constant_error.high) == pytest.approx(tuple(mean_range))
    assert (found.spread.low, found.spread.high) == pytest.approx((low, high))


def test_taps_against_the_regression_of_another_library():
    times = np.arange(8) / 3 + np.random.default_rng(0).normal(0, 0.03, 8)
    other = stats.linregress(np.arange(8), times)
    reach = stats.t.ppf(0.975, 6) * other.stderr
    found = tapped_rate(times[::-1])

    assert found.value == pytest.approx(1 / other.slope)
    assert (found.low, found.high) == pytest.approx((1 / (other.slope + reach), 1 / (other.slope - reach)))


BAD = {
    "no threshold": (lambda: Weibull(0, 2), "above zero"),
    "always guessing": (lambda: Weibull(4, 2, guess=0.9, lapse=0.2), "together below 1"),
    "more often right than ever": (lambda: Weibull(4, 2).level_at(1), "nobody is right with probability 1"),
    "less often than by guessing": (lambda: Weibull(4, 2).level_at(0.5), "ask between 0.5 and 1"),
    "no trials": (lambda: Answers.of_trials([], []), "at least one trial"),
    "a level of nothing": (lambda: Answers.of_trials([0.0], [True]), "above zero"),
    "a level that is no number": (lambda: Answers.of_trials([np.nan], [True]), "finite"),
    "down after none": (lambda: Staircase(0, 5.0), "1 or more right"),
    "a level outside": (lambda: Staircase(2, 100.0), "not between"),
    "one setting": (lambda: settings([1.0]), "two settings or more"),
    "an endless setting": (lambda: settings([1.0, np.inf]), "finite number of cents"),
    "more right than asked": (lambda: p_of_guessing(5, 4), "5 right of 4"),
    "no blind trials": (lambda: proportion_right(0, 0), "0 right of 0"),
    "two taps": (lambda: tapped_rate([0, 1]), "at least three"),
    "all taps at once": (lambda: tapped_rate([1, 1, 1, 1]), "all at once"),
    "surer than sure": (lambda: settings([1.0, 2.0], confidence=1.0), "confidence of 1"),
}  # fmt: skip


@pytest.mark.parametrize("case", BAD)
def test_what_cannot_be_meant_is_refused_in_one_line(case):
    wrong, message = BAD[case]

    with pytest.raises(BadValue, match=message) as caught:
        wrong()
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(("right", "lowest"), list(product((True, False), (0.3, 3.0))))
def test_a_fit_to_answers_that_are_all_alike_stays_finite(right, lowest):
    levels = lowest * np.arange(1, 9)
    found = threshold(Answers.of_trials(levels, np.full(8, right)), np.random.default_rng(0), resamples=50)

    assert 0 < found.low <= found.value <= found.high < np.inf


def test_a_long_rest_between_taps_does_not_change_the_measure_of_a_beat():
    """Taps on 2 beats a second with a rest of five: most gaps are one beat, whatever the longest is."""
    taps = [0.0, 0.5, 1.0, 1.5, 4.0, 4.5, 5.0]

    assert tapped_rate(taps).value == pytest.approx(2.0)
