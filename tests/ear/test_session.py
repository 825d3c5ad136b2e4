"""Sessions: what comes next follows from the plan and the answers, and results are those of the methods."""

import numpy as np
import pytest

from tonegen.ear.psychometric import HEARD, Weibull
from tonegen.ear.session import Method, Session, SessionPlan
from tonegen.ear.trials import Task, TrialKind
from tonegen.ear.words import result_in_words
from tonegen.errors import BadValue

LISTENER = Weibull(threshold=4, slope=2)


def answered_by(listener, trial, rng):
    """A listener who hears the beat: right as often as his function says, wrong otherwise."""
    right = rng.random() < listener.right(trial.level_cents)
    return trial.right if right else (trial.right + 1) % len(trial.choices)


@pytest.mark.parametrize("method", [Method.TWO_DOWN, Method.THREE_DOWN, Method.BAYES])
def test_a_session_finds_the_threshold_of_each_interval(method):
    """Two intervals take turns, 200 trials each, of a listener who hears fifths twice as well as thirds."""
    rng = np.random.default_rng(0)
    session = Session(SessionPlan(Task(TrialKind.PURER), method, 400, seed=1))
    while not session.finished:
        trial = session.next_trial()
        fifth = trial.chord[1].upper == 3
        session.answer(answered_by(Weibull(2 if fifth else 4, 2), trial, rng))
    third, fifth = session.results(confidence=0.999)

    assert (third.trials, fifth.trials) == (200, 200)
    assert third.threshold.covers(LISTENER.level_at(third.heard))
    assert fifth.threshold.covers(LISTENER.level_at(fifth.heard) / 2)
    assert third.threshold.value > fifth.threshold.value


@pytest.mark.parametrize("method", [Method.TWO_DOWN, Method.THREE_DOWN, Method.BAYES, Method.FIXED])
def test_a_session_goes_on_with_the_very_trial_that_would_have_come(method):
    """Stopped after every one of its 60 trials, and read back."""
    rng = np.random.default_rng(3)
    plan = SessionPlan(Task(TrialKind.PURER), method, 60, seed=5, levels_cents=(20, 10, 5))
    whole = Session(plan)
    answers = []
    while not whole.finished:
        trial = whole.next_trial()
        if len(answers) % 6 == 0:
            assert Session(plan, answers).next_trial() == trial
        answers.append(answered_by(LISTENER, trial, rng))
        whole.answer(answers[-1])

    assert Session(plan, answers).results() == whole.results()


@pytest.mark.parametrize("method", Method)
def test_what_can_come_next_is_known_beforehand(method):
    """Whatever is answered, the next trial is one of those, and looking ahead changes nothing."""
    rng = np.random.default_rng(4)
    session = Session(SessionPlan(Task(TrialKind.SIDE), method, 12, seed=6, levels_cents=(20, 10, 5)))
    while not session.finished:
        asked, could_come = session.next_trial(), session.could_come()
        assert session.next_trial() == asked
        assert len(could_come) <= 2
        session.answer(float(rng.integers(3)))
        assert could_come == () if session.finished else session.next_trial() in could_come


@pytest.mark.parametrize("kind", [TrialKind.SET, TrialKind.RATE, TrialKind.MATCH, TrialKind.NAME])
def test_what_comes_next_after_a_number_or_a_name(kind):
    session = Session(SessionPlan(Task(kind), Method.FIXED, 3, seed=6))
    (coming,) = session.could_come()
    session.answer(1.0)
    assert session.next_trial() == coming


def test_staircases_of_two_and_three_go_down_as_they_are_named():
    for method, rights in ((Method.TWO_DOWN, 2), (Method.THREE_DOWN, 3)):
        task = Task(TrialKind.ABX, chords=Task(TrialKind.ABX).chords[:1])
        session = Session(SessionPlan(task, method, 10, seed=1, levels_cents=(16,)))
        levels = []
        for _ in range(rights + 1):
            levels.append(session.next_trial().level_cents)
            session.answer(session.next_trial().right)

        assert levels == [16] * rights + [8]


@pytest.mark.parametrize(
    ("method", "down", "often"), [(Method.TWO_DOWN, 2, "71%"), (Method.THREE_DOWN, 3, "79%")]
)
def test_a_staircase_says_what_is_heard_as_often_as_its_steps_make_it(method, down, often):
    """At 0.5^(1/down), Levitt's targets, and not at four times in five, where it asked less."""
    rng = np.random.default_rng(5)
    task = Task(TrialKind.PURER, chords=Task(TrialKind.PURER).chords[:1])
    session = Session(SessionPlan(task, method, 300, seed=3))
    while not session.finished:
        session.answer(answered_by(LISTENER, session.next_trial(), rng))
    (result,) = session.results()
    said, _ = result_in_words(result, TrialKind.PURER)

    assert result.heard == pytest.approx(0.5 ** (1 / down))
    assert result.threshold.covers(LISTENER.level_at(result.heard, slips=True))
    assert result.function.level_at(result.heard, slips=True) == pytest.approx(result.threshold.value)
    assert said == f"You hear a {result.threshold.value:.1f}-cent error {often} of the time"


def test_a_blind_test_gives_the_score_and_the_exact_p():
    session = Session(
        SessionPlan(Task(TrialKind.ABX, chords=Task(TrialKind.ABX).chords[:1]), Method.FIXED, 16, 1, (5,))
    )
    for number in range(16):
        right = session.next_trial().right
        session.answer(right if number < 12 else 1 - right)
        assert session.finished or session.results()[0].p_of_guessing is None
    (result,) = session.results()

    assert (result.trials, result.right, result.threshold) == (16, 12, None)
    assert result.p_of_guessing == pytest.approx(0.0384064, abs=1e-7)  # binomial, 12 or more of 16


def test_fixed_levels_are_fitted():
    rng = np.random.default_rng(8)
    task = Task(TrialKind.PURER, chords=Task(TrialKind.PURER).chords[:1])
    session = Session(SessionPlan(task, Method.FIXED, 250, seed=2, levels_cents=(1, 2, 4, 8, 16)))
    while not session.finished:
        session.answer(answered_by(LISTENER, session.next_trial(), rng))
    (result,) = session.results()

    assert result.threshold.covers(LISTENER.level_at(HEARD))
    assert {made.trial.level_cents for made in session.answered} == {1, 2, 4, 8, 16}


@pytest.mark.parametrize("kind", [TrialKind.SET, TrialKind.RATE, TrialKind.MATCH])
def test_adjustments_give_constant_error_and_spread(kind):
    rng = np.random.default_rng(4)
    session = Session(SessionPlan(Task(kind, chords=Task(kind).chords[:1]), Method.FIXED, 40, seed=2))
    while not session.finished:
        aim = session.next_trial().right
        session.answer(rng.normal(3, 2) if kind is TrialKind.SET else aim * (1 + rng.normal(0.03, 0.02)))
    (result,) = session.results()

    assert result.settings.constant_error.covers(3)
    assert result.settings.spread.covers(2)


def test_naming_intervals_counts_what_was_right_of_each():
    session = Session(SessionPlan(Task(TrialKind.NAME), Method.FIXED, 30, seed=2, levels_cents=(3,)))
    while not session.finished:
        session.answer(0)
    third, fifth = sorted(session.results(), key=lambda result: result.chord[1].cents)

    assert third.right == third.trials
    assert fifth.right == 0
    assert third.trials + fifth.trials == 30


def test_an_answer_that_is_none_leaves_the_session_where_it_is():
    session = Session(SessionPlan(Task(TrialKind.PURER), Method.BAYES, 5, seed=1))
    trial = session.next_trial()

    with pytest.raises(BadValue, match="answers 1 to 2"):
        session.answer(7)
    assert session.next_trial() == trial


BAD = {
    "no trials": (lambda: SessionPlan(Task(TrialKind.SET), Method.FIXED, 0, 1), "0 trials"),
    "no level": (lambda: SessionPlan(Task(TrialKind.SET), Method.FIXED, 5, 1, ()), "one level or more"),
    "an octave": (lambda: SessionPlan(Task(TrialKind.SET), Method.FIXED, 5, 1, (1200,)), "0.1 to 64"),
    "a staircase to tap to": (lambda: SessionPlan(Task(TrialKind.RATE), Method.BAYES, 5, 1), "no threshold"),
    "one more than all": (
        lambda: Session(SessionPlan(Task(TrialKind.SET), Method.FIXED, 1, 1), [0, 0]),
        "is answered",
    ),
}


@pytest.mark.parametrize("case", BAD)
def test_what_cannot_be_carried_out_is_refused(case):
    wrong, message = BAD[case]

    with pytest.raises(BadValue, match=message):
        wrong()
