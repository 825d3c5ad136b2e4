"""The Bayesian threshold against Watson's published trials."""

import csv
from pathlib import Path

import numpy as np
import pytest

from tonegen.ear.bayes import Belief, Listeners, usual_listeners
from tonegen.ear.psychometric import Answers, Weibull
from tonegen.errors import BadValue

PUBLISHED = Path(__file__).parents[1] / "published"


def test_answers_all_at_once_are_believed_as_one_after_another():
    levels, right = [8.0, 2.0, 8.0, 1.0], [True, True, False, False]
    one_by_one = belief = Belief(usual_listeners())
    for level, was_right in zip(levels, right, strict=True):
        one_by_one = one_by_one.after(level, was_right)

    at_once = belief.after_all(Answers.of_trials(levels, right))
    assert at_once.weights == pytest.approx(one_by_one.weights)


def published_trials(example: str) -> list[tuple[int, bool]]:
    with (PUBLISHED / "watson_2017_trials.csv").open(newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["example"].startswith(example)]
    return [(int(row["contrast_db"]), row["answer"] == "right") for row in rows]


# Watson (2017): contrasts and thresholds from -40 to 0 dB in steps of 1, guess rate 0.5. His Weibull in dB,
# 10^(slope/20 * (x - t)), is ours with level = 10^(x/20). Last column: his mode of threshold, slope, lapse.
WATSON = {
    "Example 1": ([3.5], [0.02], (-20, 3.5, 0.02)),
    "Implementation": (range(2, 6), [0.02], (-20, 3, 0.02)),
    "Example 2": (range(2, 6), [0, 0.01, 0.02, 0.03, 0.04], (-20, 5, 0.04)),
}


@pytest.mark.parametrize("example", WATSON)
def test_each_next_level_as_watson_printed_it(example):
    slopes, lapses, mode = WATSON[example]
    contrasts = 10 ** (np.arange(-40, 1) / 20)
    belief = Belief(Listeners(contrasts, slopes, contrasts, lapses=lapses))

    for trial, (printed_db, right) in enumerate(published_trials(example), 1):
        asked_db = round(20 * np.log10(belief.next_level()))
        assert asked_db == printed_db, f"trial {trial}"
        belief = belief.after(belief.next_level(), right)

    found = belief.likeliest()
    assert (20 * np.log10(found.threshold), found.slope, found.lapse) == pytest.approx(mode)


def test_entropy_to_be_expected_is_that_of_the_two_answers():
    """The short form by the chain rule against the definition: both answers carried out, and averaged."""
    listeners = Listeners([2, 4, 8], [1, 3], [1, 3, 9])
    belief = Belief(listeners).after(3, True).after(3, False).after(2, True)
    spread = -(belief.weights * np.log(belief.weights)).sum()

    for level, change in zip(listeners.levels, listeners.expected_entropy(belief.weights), strict=True):
        right = listeners.right(np.array([level]))[0] @ belief.weights
        after = [belief.after(level, answer).weights for answer in (True, False)]
        by_hand = sum(
            chance * -(weights * np.log(weights)).sum()
            for chance, weights in zip((right, 1 - right), after, strict=True)
        )
        assert spread + change == pytest.approx(by_hand)


def test_before_any_answer_the_threshold_is_in_the_middle_of_what_is_possible():
    found = Belief(Listeners([1, 2, 4, 8], [2], [1])).threshold(probability=0.8, confidence=0.5)
    middle = Weibull(8**0.5, 2).level_at(0.8)

    assert found.value == pytest.approx(middle)
    assert found.low * found.high == pytest.approx(middle**2)


def test_slips_are_apart_from_what_is_heard_unless_they_are_asked_for():
    belief, listener = Belief(Listeners([4], [2], [1], lapses=[0.1])), Weibull(4, 2, lapse=0.1)

    assert belief.threshold().value == pytest.approx(4 * np.log(2.5) ** 0.5)
    assert belief.threshold(slips=True).value == pytest.approx(4 * np.log(4) ** 0.5)
    for slips in (False, True):
        assert listener.level_at(0.8, slips=slips) == pytest.approx(belief.threshold(slips=slips).value)
        assert belief.middle(slips=slips).level_at(0.8) == pytest.approx(listener.level_at(0.8))


def test_a_probability_that_nobody_reaches_is_refused():
    with pytest.raises(BadValue, match="nobody is right with probability 1;"):
        Belief(usual_listeners()).threshold(probability=1.0)


def test_no_listeners_at_all_are_refused():
    with pytest.raises(BadValue, match="at least one threshold"):
        Listeners([], [2], [1])
